"""Forms of the registers: instruments, certificates, guidelines."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.days import DayField
from consult.forms.labels import label_of
from consult.forms.once import OnceForm
from surveys.calc.units import UNITS
from surveys.forms.fields import NumberField
from surveys.forms.visits import EntryForm
from surveys.models import Calibration, Guideline, Instrument, Measurand
from surveys.models.measurands import QUANTITY_CHOICES, measurand_words

AXES = [("", _("not said")), ("1", _("one")), ("3", _("three"))]
BOUNDS = ("b1", "b2", "b3")


class InstrumentForm(OnceForm, EntryForm):
    name = forms.CharField(
        label=label_of(Instrument, "name"), max_length=80, help_text=_("The name on its label.")
    )
    maker = forms.CharField(label=label_of(Instrument, "maker"), max_length=80, required=False)
    serial = forms.CharField(label=label_of(Instrument, "serial"), max_length=80, required=False)


class InstrumentChangeForm(InstrumentForm):
    key = None  # type: ignore[assignment]  # Django's way to drop a field
    is_retired = forms.BooleanField(
        label=label_of(Instrument, "is_retired"),
        required=False,
        help_text=_("It is offered for no new reading."),
    )

    version = forms.IntegerField(widget=forms.HiddenInput)

    @staticmethod
    def initial_of(instrument: Instrument, version: int) -> dict[str, Any]:
        names = [name for name in InstrumentChangeForm.base_fields if name != "version"]
        return {name: getattr(instrument, name) for name in names} | {"version": version}


def _day(label: Any, **kwargs: Any) -> forms.DateField:
    return DayField(label=label, required=False, years_ahead=60, **kwargs)


class CalibrationForm(OnceForm, EntryForm):
    """All that a row of instruments.csv says, numbers in the unit of the row."""

    quantity = forms.ChoiceField(label=label_of(Calibration, "quantity"), choices=QUANTITY_CHOICES)
    description = forms.CharField(
        label=label_of(Calibration, "description"),
        max_length=200,
        required=False,
        help_text=_("Of the probe for this quantity."),
    )
    unit = forms.ChoiceField(
        label=label_of(Calibration, "unit"), choices=[(unit, unit) for unit in UNITS]
    )
    gain_percent = NumberField(
        label=label_of(Calibration, "gain_percent"),
        help_text=_("Expanded relative uncertainty (k = 2) of the certificate."),
    )
    resolution = NumberField(
        label=label_of(Calibration, "resolution"), help_text=_("Of the last digit, full width.")
    )
    noise = NumberField(
        label=label_of(Calibration, "noise"),
        required=False,
        help_text=_("Standard deviation; empty is none."),
    )
    floor = NumberField(
        label=label_of(Calibration, "floor"),
        required=False,
        help_text=_("Lowest value it can show."),
    )
    ceiling = NumberField(label=label_of(Calibration, "ceiling"), required=False)
    low_hz = NumberField(label=label_of(Calibration, "low_hz"), required=False)
    high_hz = NumberField(label=label_of(Calibration, "high_hz"), required=False)
    axes = forms.TypedChoiceField(
        label=label_of(Calibration, "axes"),
        choices=AXES,
        coerce=int,
        empty_value=None,
        required=False,
    )
    certificate = forms.CharField(
        label=label_of(Calibration, "certificate"), max_length=80, required=False
    )
    calibrated_on = _day(label_of(Calibration, "calibrated_on"))
    due_on = _day(label_of(Calibration, "due_on"), help_text=_("The last day on which it holds."))
    laboratory = forms.CharField(
        label=label_of(Calibration, "laboratory"), max_length=120, required=False
    )


class CalibrationChangeForm(CalibrationForm):
    key = None  # type: ignore[assignment]  # as above
    version = forms.IntegerField(widget=forms.HiddenInput)

    @staticmethod
    def initial_of(calibration: Calibration, version: int) -> dict[str, Any]:
        names = [name for name in CalibrationChangeForm.base_fields if name != "version"]
        return {name: getattr(calibration, name) for name in names} | {"version": version}


class GuidelineForm(OnceForm, EntryForm):
    """A table of bands with its source; the names of the bands are the same in all measurands."""

    code = forms.SlugField(
        label=label_of(Guideline, "code"), max_length=30, help_text=_("Letters, digits, hyphens.")
    )
    title = forms.CharField(label=label_of(Guideline, "title"), max_length=200)
    source = forms.CharField(
        label=label_of(Guideline, "source"),
        max_length=10_000,
        widget=forms.Textarea({"rows": 2}),
        help_text=_("Who published it, where and when. It is printed in letters."),
    )
    note = forms.CharField(
        label=label_of(Guideline, "note"),
        max_length=10_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number in range(1, 5):
            self.fields[f"name_{number}"] = forms.CharField(
                label=_("Words of band %(number)s") % {"number": number}, max_length=60
            )
        for measurand in Measurand:
            for bound in BOUNDS:
                self.fields[f"{measurand.value}-{bound}"] = NumberField(label=bound)

    def head(self) -> list[forms.BoundField]:
        return [self[name] for name in ("code", "title", "source", "note")]

    def names(self) -> list[forms.BoundField]:
        return [self[f"name_{number}"] for number in range(1, 5)]

    def rows(self) -> list[dict[str, Any]]:
        return [
            {
                "label": measurand_words(measurand),
                "unit": measurand.unit,
                "fields": [self[f"{measurand.value}-{bound}"] for bound in BOUNDS],
            }
            for measurand in Measurand
        ]

    def typed(self) -> dict[str, Any]:
        """What the service takes."""
        data = self.cleaned_data
        head = {name: data[name] for name in ("key", "code", "title", "source", "note")}
        bounds = {
            measurand.value: [data[f"{measurand}-{bound}"] for bound in BOUNDS]
            for measurand in Measurand
        }
        names = [data[f"name_{number}"] for number in range(1, 5)]
        return head | {"bounds": bounds, "band_names": names}

    def blame_bounds(self, faults: dict[str, list[str]]) -> None:
        """Put a fault of a measurand at its first bound."""
        for name, reasons in faults.items():
            field = f"{name}-b1" if f"{name}-b1" in self.fields else name
            self.add_error(field if field in self.fields else None, reasons)
