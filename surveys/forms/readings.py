"""Forms of a reading: entered, corrected, set aside."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.labels import label_of
from consult.forms.once import OnceForm
from surveys.forms.fields import MarkedNumberField, NumberField
from surveys.forms.visits import EntryForm, chosen
from surveys.models import (
    Calibration,
    GroundPoint,
    Instrument,
    Measurand,
    Quantity,
    Reading,
    Spot,
    Visit,
)
from surveys.models.circuits import as_list, names_in
from surveys.models.displays import AXES, CELLS
from surveys.models.measurands import MEASURAND_CHOICES, MEASURANDS, quantity_words
from surveys.models.names import folded
from surveys.models.visits import MISTYPED
from surveys.results.certificates import Register
from surveys.services.sources import source_names

KEPT = ("spot", "measurand", "instrument", "ground_point", "unit")
# What a trial walk carries on from one reading to the next.
WALKED = ("state", "circuits_off")
# Quantities that are read without a ground lead.
UNGROUNDED = {measurand for measurand in Measurand if not measurand.has_ground_point}


def grouped_units() -> list[tuple[Any, list[tuple[str, str]]]]:
    """Every unit under its quantity, for a list that cannot follow the quantity."""
    return [
        (quantity_words(quantity), [(unit, unit) for unit in quantity.units])
        for quantity in Quantity
    ]


class ReadingForm(OnceForm, EntryForm):
    """One look at the meter, as it stands on its display."""

    spot = forms.ModelChoiceField(
        Spot.objects.none(), label=label_of(Reading, "spot"), empty_label="–"
    )
    measurand = forms.ChoiceField(label=label_of(Reading, "measurand"), choices=MEASURAND_CHOICES)
    instrument = forms.ModelChoiceField(
        Instrument.objects.none(), label=label_of(Reading, "instrument"), empty_label="–"
    )
    ground_point = forms.ModelChoiceField(
        GroundPoint.objects.none(),
        label=label_of(Reading, "ground_point"),
        required=False,
        empty_label="–",
        help_text=_("For ground-referenced fields and body voltage alone."),
    )
    # A blank placeholder lets the style tell an empty axis from a filled one.
    x = MarkedNumberField(label="X", required=False, placeholder=" ")
    y = MarkedNumberField(label="Y", required=False, placeholder=" ")
    z = MarkedNumberField(label="Z", required=False, placeholder=" ")
    total = MarkedNumberField(label=_("or total"), required=False)
    unit = forms.ChoiceField(label=label_of(Reading, "unit"), choices=grouped_units)
    state = forms.ChoiceField(label=label_of(Reading, "state"), choices=Reading.State.choices)
    walk = forms.BooleanField(
        label=_("Switching trial: the next reading is a trial too, with the same circuits off"),
        required=False,
    )
    as_used_with_off = forms.BooleanField(
        label=_("The house is used like this, with these circuits off"), required=False
    )
    sources_off = forms.MultipleChoiceField(
        label=_("Circuits and appliances off"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    circuits_off = forms.CharField(
        label=label_of(Reading, "circuits_off"),
        max_length=10_000,
        required=False,
        help_text=_("a; b; c"),
    )
    taken_at_text = forms.CharField(
        label=label_of(Reading, "taken_at_text"), max_length=40, required=False
    )
    height_m = NumberField(label=label_of(Reading, "height_m"), required=False)
    body_distance_m = NumberField(label=label_of(Reading, "body_distance_m"), required=False)
    surface_distance_m = NumberField(label=label_of(Reading, "surface_distance_m"), required=False)
    load = forms.CharField(label=label_of(Reading, "load"), max_length=200, required=False)
    note = forms.CharField(label=label_of(Reading, "note"), max_length=10_000, required=False)

    WHERE: tuple[str, ...] = ("spot", "measurand", "instrument", "ground_point")
    SHOWN_STATE: tuple[str, ...] = ("state", "walk", "as_used_with_off")
    MORE = ("sources_off", "circuits_off", "taken_at_text", "height_m",
            "body_distance_m", "surface_distance_m", "load", "note")  # fmt: skip

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.day = visit.date
        self.asks_about_off = False
        choices: dict[str, Any] = {
            "spot": Spot.objects.filter(room__property=visit.property_id).select_related("room"),
            "ground_point": GroundPoint.objects.filter(property=visit.property_id),
            "instrument": Instrument.objects.filter(
                is_retired=False, calibrations__isnull=False
            ).distinct(),
        }
        for name, rows in choices.items():
            if name in self.fields:
                self.fields[name].queryset = rows  # type: ignore[attr-defined]  # of its field class
        self._offer_sources(visit.property_id)

    def _offer_sources(self, home: int) -> None:
        """A box to tick for each declared circuit and appliance; others are typed beside."""
        declared = source_names(home)
        if not declared:
            del self.fields["sources_off"]
            return
        self.fields["sources_off"].choices = declared  # type: ignore[attr-defined]  # of its field class
        self.fields["circuits_off"].label = _("Others that were off")
        known = {folded(name): name for name, _shown in declared}
        written = names_in(self.initial.get("circuits_off") or "")
        ticked = [known[folded(name)] for name in written if folded(name) in known]
        others = [name for name in written if folded(name) not in known]
        self.initial["sources_off"] = ticked
        self.initial["circuits_off"] = "; ".join(others)

    def clean(self) -> dict[str, Any]:
        """The form offers the point of the reading before, which may have been of another kind."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("measurand") in UNGROUNDED:
            cleaned["ground_point"] = None
        if cleaned.get("measurand") == Measurand.BODY_VOLTAGE:
            for axis in AXES:
                if cleaned.get(axis, (None, ""))[0] is not None:
                    self.add_error(axis, _("Body voltage has no axes: enter the total."))
        is_as_used = cleaned.get("state") == Reading.State.AS_USED
        are_off = bool(cleaned.get("circuits_off") or cleaned.get("sources_off"))
        if is_as_used and are_off and not cleaned.get("as_used_with_off"):
            self.asks_about_off = True
            self.add_error(
                "state",
                _(
                    "Circuits are off, and the reading is to count as the house is used. Choose "
                    "“trial”, or say below that the house is used like this."
                ),
            )
        return cleaned

    def where(self) -> list[forms.BoundField]:
        return chosen(self, self.WHERE)

    def displays(self) -> list[forms.BoundField]:
        return chosen(self, CELLS)

    def go_on_at(self, next_field: str = "x") -> None:
        """Put the cursor where typing goes on: at the first fault, or at the next display."""
        if self["measurand"].value() == Measurand.BODY_VOLTAGE:
            next_field = "total"
        wrong = next((name for name in self.fields if name in self.errors), next_field)
        self.fields[wrong].widget.attrs["autofocus"] = True

    def narrow(self) -> None:
        """Offer what fits the chosen quantity alone: meters and units.

        Fields that do not fit are out of sight by style alone, and only while they are empty, so
        that another quantity may be chosen.
        """
        measurand = self["measurand"].value()
        if measurand not in MEASURANDS:
            return
        fitting = Instrument.objects.filter(
            is_retired=False, calibrations__quantity=Measurand(measurand).quantity
        )
        self.fields["instrument"].queryset = fitting.distinct()  # type: ignore[attr-defined]  # of its field class
        self._narrow_units(measurand)

    def _narrow_units(self, measurand: str) -> None:
        """The units of the quantity, the instrument's own one chosen."""
        instrument = self["instrument"].value()
        units = Measurand(measurand).units
        field = self.fields["unit"]
        field.choices = [(unit, unit) for unit in units]  # type: ignore[attr-defined]  # of its field class
        # Not asked of the bound field, which would keep what it was first asked for.
        if not self.is_bound and self.initial.get("unit") not in units:
            own = self._own_unit(measurand, instrument)
            self.initial["unit"] = own if own in units else units[0]

    def _own_unit(self, measurand: str, instrument: Any) -> str | None:
        """The unit in which the register speaks of the instrument."""
        if not str(instrument or "").isdecimal():
            return None
        named = Instrument.objects.filter(pk=instrument)  # none by a number too long for a key
        quantity = Measurand(measurand).quantity
        rows = Calibration.objects.filter(instrument__in=named, quantity=quantity)
        row = Register(rows).on(self.day, instrument=int(instrument), quantity=quantity)
        return row.unit if row else None

    def more(self) -> list[forms.BoundField]:
        return chosen(self, self.MORE)

    def shown_state(self) -> list[forms.BoundField]:
        """The state, always in sight, and what is asked about it."""
        names = [
            name
            for name in self.SHOWN_STATE
            if name != "as_used_with_off" or self.asks_about_off or self[name].value()
        ]
        return chosen(self, names)

    def more_is_open(self) -> bool:
        """Whether something stands there that is not as usual, or is wrong: it is kept in sight."""
        return any(field.errors or field.value() for field in self.more())

    def typed(self) -> dict[str, Any]:
        """The names of a reading's fields with what was typed."""
        names = (*self.WHERE, *CELLS, "unit", "state", *self.MORE)
        data = {name: self.cleaned_data[name] for name in names if name != "sources_off"}
        ticked = "; ".join(self.cleaned_data.get("sources_off") or ())
        data["circuits_off"] = as_list(names_in(f"{ticked};{data['circuits_off']}"))
        for axis in CELLS:
            data[axis], data[f"{axis}_mark"] = data[axis]
        return data

    @staticmethod
    def display_after(last: Reading | None) -> str:
        """The field that the next display most likely fills."""
        return "total" if last is not None and last.total is not None else "x"

    @staticmethod
    def next_after(last: Reading | None, *, walk: bool = False) -> dict[str, Any]:
        """What the next row most likely shares with the one before; on a trial `walk`, its state.

        Else the next reading is as used, with nothing off.
        """
        if last is None:
            return {"state": Reading.State.AS_USED}
        names = {name: f"{name}_id" for name in ("spot", "instrument", "ground_point")}
        likely = {name: getattr(last, names.get(name, name)) for name in KEPT}
        likely["state"] = Reading.State.AS_USED
        if walk and last.state == Reading.State.TRIAL:
            likely |= {name: getattr(last, name) for name in WALKED} | {"walk": True}
        if last.ground_point_id is None:
            grounded = last.visit.readings.exclude(ground_point=None).order_by("position").last()
            likely["ground_point"] = grounded and grounded.ground_point_id
        return likely

    @staticmethod
    def initial_of(reading: Reading) -> dict[str, Any]:
        names = {name: f"{name}_id" for name in ("spot", "instrument", "ground_point")}
        shown = {
            name: getattr(reading, names.get(name, name))
            for name in (*ReadingForm.WHERE, *CELLS, "unit", "state", *ReadingForm.MORE)
            if name != "sources_off"
        }
        counts = reading.state == Reading.State.AS_USED
        shown["as_used_with_off"] = counts and bool(reading.circuits_off)
        return shown | {
            axis: (getattr(reading, axis), getattr(reading, f"{axis}_mark")) for axis in CELLS
        }


class CorrectionForm(ReadingForm):
    walk = None  # type: ignore[assignment]  # Django's way to drop a field
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, visit=visit, **kwargs)
        every = Instrument.objects.filter(calibrations__isnull=False).distinct()
        self.fields["instrument"].queryset = every  # type: ignore[attr-defined]  # retired ones too


class SealedCorrectionForm(ReadingForm):
    """What the display really showed; spot and quantity are those of the sealed reading."""

    spot = None  # type: ignore[assignment]  # Django's way to drop a field
    walk = None  # type: ignore[assignment]  # as above
    measurand = None  # type: ignore[assignment]  # as above
    reason = forms.CharField(
        label=_("What was wrong, and how you know"),
        max_length=2_000,
        widget=forms.Textarea({"rows": 2}),
        help_text=_("Such as: digits transposed, see the sheet of the day."),
    )

    WHERE = ("instrument", "ground_point")

    def __init__(self, *args: Any, reading: Reading, **kwargs: Any) -> None:
        super().__init__(*args, visit=reading.visit, **kwargs)
        measurand = Measurand(reading.measurand)
        known = Instrument.objects.filter(calibrations__quantity=measurand.quantity)
        self.fields["instrument"].queryset = known.distinct()  # type: ignore[attr-defined]  # retired ones too
        self.fields["unit"].choices = [(unit, unit) for unit in measurand.units]  # type: ignore[attr-defined]  # a choice field


class SetAsideForm(OnceForm, EntryForm):
    mistyped = forms.BooleanField(
        label=_("Mistyped: it never stood on the display"),
        required=False,
        help_text=_("A danger that the meter did show stays one, whether or not it counts."),
    )
    reason = forms.CharField(
        label=_("Else: why this reading does not count"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("mistyped"):
            cleaned["reason"] = MISTYPED
        elif not cleaned.get("reason") and "reason" not in self.errors:
            self.add_error("reason", _("Say why this reading does not count."))
        return cleaned
