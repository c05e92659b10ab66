"""Forms of a trial walk: what is the same in all its readings, and a state's display."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from consult.forms.labels import label_of
from mitigation.planning.walks import Where
from surveys.forms.fields import MarkedNumberField
from surveys.forms.readings import UNGROUNDED, grouped_units
from surveys.forms.visits import EntryForm
from surveys.models import (
    Circuit,
    GroundPoint,
    Instrument,
    Measurand,
    Reading,
    Spot,
    Visit,
)
from surveys.models.circuits import names_in
from surveys.models.displays import AXES, CELLS
from surveys.models.measurands import MEASURAND_CHOICES
from surveys.services.sources import source_names
from surveys.services.typed_readings import calibration_of_the_day

LONGEST_OFF = 10_000
MOST_SOURCES = 40
SourceNames = list[tuple[str, str]]  # of circuits and appliances, each with what people read
WHERE = ("spot", "measurand", "instrument", "ground_point", "unit")
COLUMN = {"measurand": "measurand", "unit": "unit"}  # the others hold a row's number


class TrialSetupForm(EntryForm):
    """Asked by the address alone: it changes nothing."""

    spot = forms.ModelChoiceField(
        Spot.objects.none(), label=label_of(Reading, "spot"), empty_label=None
    )
    measurand = forms.ChoiceField(label=label_of(Reading, "measurand"), choices=MEASURAND_CHOICES)
    instrument = forms.ModelChoiceField(
        Instrument.objects.none(), label=label_of(Reading, "instrument"), empty_label=None
    )
    ground_point = forms.ModelChoiceField(
        GroundPoint.objects.none(),
        label=label_of(Reading, "ground_point"),
        required=False,
        empty_label="–",
    )
    unit = forms.ChoiceField(
        label=label_of(Reading, "unit"),
        choices=lambda: [("", _("as the meter shows it")), *grouped_units()],
        required=False,
    )
    axis = forms.ChoiceField(
        label=_("How the meter is read"),
        choices=[
            ("", _("all axes of a state, or its total")),
            ("x", _("one axis at a time: X")),
            ("y", _("one axis at a time: Y")),
            ("z", _("one axis at a time: Z")),
        ],
        required=False,
    )
    source = forms.MultipleChoiceField(
        label=_("What is switched"),
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Choose what may make the field here: the fewer, the sooner you are done."),
    )

    def __init__(
        self,
        data: QueryDict | None,
        *,
        visit: Visit,
        names: SourceNames,
        initial: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(data, initial=initial)
        self.visit = visit
        known = Instrument.objects.filter(calibrations__isnull=False)
        if visit.sealed_at is None:
            known = known.filter(is_retired=False)
        choices: dict[str, Any] = {
            "spot": Spot.objects.filter(room__property=visit.property_id).select_related("room"),
            "ground_point": GroundPoint.objects.filter(property=visit.property_id),
            "instrument": known.distinct(),
        }
        for name, rows in choices.items():
            self.fields[name].queryset = rows  # type: ignore[attr-defined]  # of its field class
        self.fields["source"].choices = names  # type: ignore[attr-defined]  # as above

    def where_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in (*WHERE, "axis")]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        measurand = cleaned.get("measurand")
        if measurand in UNGROUNDED:
            cleaned["ground_point"] = None
        if measurand == Measurand.BODY_VOLTAGE:
            cleaned["axis"] = ""
        if len(cleaned.get("source", ())) > MOST_SOURCES:
            self.add_error("source", _("At most %(n)s at once.") % {"n": MOST_SOURCES})
        if measurand and cleaned.get("instrument"):
            self._settle_unit(cleaned)
        return cleaned

    def _settle_unit(self, cleaned: dict[str, Any]) -> None:
        """The unit that was chosen, else the one in which the register has the instrument."""
        measurand = Measurand(cleaned["measurand"])
        reading = Reading(
            visit=self.visit, instrument=cleaned["instrument"], measurand=measurand.value
        )
        calibration = calibration_of_the_day(reading)
        if calibration is None:
            words = _("The register has no row of this instrument for this quantity.")
            self.add_error("instrument", words)
        elif not cleaned.get("unit"):
            fits = calibration.unit in measurand.units
            cleaned["unit"] = calibration.unit if fits else measurand.unit
        elif cleaned["unit"] not in measurand.units:
            units = ", ".join(measurand.units)
            self.add_error("unit", _("%(units)s for this quantity.") % {"units": units})

    def where(self) -> Where:
        """What is the same in all readings of the trial."""
        cleaned = self.cleaned_data
        return Where(
            visit=self.visit,
            spot=cleaned["spot"],
            measurand=cleaned["measurand"],
            ground_point=cleaned["ground_point"],
            instrument=cleaned["instrument"],
            names=tuple(cleaned["source"]),
        )

    def columns(self) -> tuple[str, ...]:
        """What of a display is typed for a state."""
        if self.cleaned_data["measurand"] == Measurand.BODY_VOLTAGE:
            return ("total",)
        axis = self.cleaned_data["axis"]
        return (axis,) if axis else CELLS


def setup_form(asked: QueryDict, visit: Visit) -> TrialSetupForm:
    """The form as the address asks for it; without a valid one what is offered instead."""
    names = source_names(visit.property_id)
    form = TrialSetupForm(_asked(asked, visit, names), visit=visit, names=names)
    if form.is_valid() or "spot" in asked:
        return form
    return TrialSetupForm(None, visit=visit, names=names, initial=_offered(asked, visit, names))


def _asked(asked: QueryDict, visit: Visit, names: SourceNames) -> QueryDict:
    """What the address asks for; where it names no spot, the latest trial, or reading, goes on."""
    if "spot" in asked:
        return asked
    usual = QueryDict(mutable=True)
    usual.update(_where_last(visit.readings.order_by("-position")))
    for name in (*WHERE, "axis"):
        if name in asked:
            usual[name] = str(asked[name])
    usual.setlist("source", asked.getlist("source") or _usual_sources(visit, names))
    return usual


def _offered(asked: QueryDict, visit: Visit, names: SourceNames) -> dict[str, Any]:
    """What the form offers before anything was asked: as the home was last measured."""
    rows = Reading.objects.filter(visit__property=visit.property_id, set_aside="")
    where = _where_last(rows.order_by("-visit__date", "-visit_id", "-position"))
    return {**where, "source": asked.getlist("source") or _usual_sources(visit, names)}


def _where_last(rows: QuerySet[Reading]) -> dict[str, str]:
    """Where and with what the first trial of the rows was read, else their first reading."""
    last = rows.filter(state=Reading.State.TRIAL).first() or rows.first()
    if last is None:
        return {}
    values = {name: getattr(last, COLUMN.get(name, f"{name}_id")) for name in WHERE}
    return {name: "" if value is None else str(value) for name, value in values.items()}


def _usual_sources(visit: Visit, names: SourceNames) -> list[str]:
    """What was tried at this visit already, else every circuit of the home."""
    texts = visit.readings.filter(state=Reading.State.TRIAL).values_list("circuits_off", flat=True)
    tried = names_in(";".join(texts))
    circuits = Circuit.objects.at(visit.property_id).values_list("name", flat=True)
    known = dict(names)
    return [name for name in tried if name in known] or list(circuits)


class TrialStateForm(EntryForm):
    """What the meter showed in one state, as it stands on its display."""

    off = forms.CharField(max_length=LONGEST_OFF, required=False, widget=forms.HiddenInput)
    nth = forms.IntegerField(min_value=0, max_value=1_000, widget=forms.HiddenInput)
    x = MarkedNumberField(label="X", required=False)
    y = MarkedNumberField(label="Y", required=False)
    z = MarkedNumberField(label="Z", required=False)
    total = MarkedNumberField(label=_("or total"), required=False)

    def __init__(
        self, data: Mapping[str, Any] | None = None, *, columns: Sequence[str], **kwargs: Any
    ) -> None:
        super().__init__(data, **kwargs)
        for name in CELLS:
            if name not in columns:
                del self.fields[name]
        if len(columns) == 1:
            (only,) = columns
            self.fields[only].required = True
            if only == "total":
                self.fields[only].label = _("Reading")

    def cells(self) -> dict[str, Any]:
        """The columns of a reading that were typed, with their marks."""
        typed: dict[str, Any] = {}
        for name in (name for name in CELLS if name in self.fields):
            typed[name], typed[f"{name}_mark"] = self.cleaned_data[name]
        return typed

    def displays(self) -> list[forms.BoundField]:
        return [self[name] for name in (*AXES, "total") if name in self.fields]
