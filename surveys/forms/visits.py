"""Forms of a visit: its conditions, places and ground checks."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from consult.forms.days import DayField
from consult.forms.labels import label_of
from consult.forms.once import OnceForm
from consult.forms.texts import TextForm
from consult.models.texts import as_one_line
from surveys.forms.fields import NumberField
from surveys.models import (
    GroundCheck,
    GroundPoint,
    Spot,
    Visit,
)
from surveys.models.names import LONGEST
from surveys.services.entries import SENT_OTHERWISE

MOST_SPOTS = 50


class EntryForm(TextForm):
    """A form whose fields may be blamed for what a service refuses."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)

    def blame(self, error: ValidationError) -> None:
        """Put each reason at its field, and the others on top.

        A form whose key came before with other content gets another one: sent once more, it enters
        what it holds as well.
        """
        if getattr(error, "code", None) == SENT_OTHERWISE and isinstance(self, OnceForm):
            self.renew_key()
        if not hasattr(error, "error_dict"):
            self.add_error(None, error)
            return
        for name, reasons in error.message_dict.items():
            self.add_error(name if name in self.fields else None, reasons)


def chosen(form: forms.Form, names: Iterable[str]) -> list[forms.BoundField]:
    return [form[name] for name in names if name in form.fields]


class ConditionsForm(EntryForm):
    label = forms.CharField(label=label_of(Visit, "label"), max_length=80)
    date = DayField(label=label_of(Visit, "date"))
    assessor = forms.CharField(label=label_of(Visit, "assessor"), max_length=120, required=False)
    supply_voltage_v = NumberField(label=label_of(Visit, "supply_voltage_v"), required=False)
    temperature_c = NumberField(
        label=label_of(Visit, "temperature_c"), may_be_negative=True, required=False
    )
    humidity_percent = NumberField(
        label=label_of(Visit, "humidity_percent"),
        required=False,
        help_text=_("Above about 70 % readings of the electric field are doubtful."),
    )
    sampling = forms.CharField(
        label=label_of(Visit, "sampling"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=_("Such as: at each bed the head, the middle and the foot. Printed in letters."),
    )
    deviations = forms.CharField(
        label=label_of(Visit, "deviations"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=_("Such as: the lead was too short for the attic. Printed in letters."),
    )
    note = forms.CharField(
        label=label_of(Visit, "note"),
        max_length=10_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("On the conditions of the day. It is printed in the client's letters."),
    )
    instructions = forms.CharField(
        label=label_of(Visit, "instructions"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("Whom to call, where the key is. It stands in no letter."),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def clean_humidity_percent(self) -> float | None:
        value: float | None = self.cleaned_data["humidity_percent"]
        if value is not None and value > 100:
            raise ValidationError(_("A number from 0 to 100."))
        return value

    @staticmethod
    def initial_of(visit: Visit, version: int) -> dict[str, Any]:
        names = [name for name in ConditionsForm.base_fields if name != "version"]
        return {name: getattr(visit, name) for name in names} | {"version": version}


class SpotForm(EntryForm):
    """The spots of a room, each on a line of its own."""

    room = forms.CharField(label=_("Room"), max_length=80)
    spot = forms.CharField(
        label=_("Spots, one a line"),
        max_length=4_000,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("Bed head, bed middle, desk seat."),
    )
    use = forms.ChoiceField(label=_("Use"), choices=Spot.Use.choices)

    def clean_spot(self) -> list[str]:
        """The names, each once and each short enough."""
        lines = map(as_one_line, self.cleaned_data["spot"].splitlines())
        names = list(dict.fromkeys(filter(None, lines)))
        if len(names) > MOST_SPOTS:
            raise ValidationError(_("At most %(n)s spots at once.") % {"n": MOST_SPOTS})
        for name in names:
            if len(name) > LONGEST:
                words = _("“%(name)s...” is longer than %(n)s characters.")
                raise ValidationError(words % {"name": name[:20], "n": LONGEST})
        return names

    def typed(self) -> dict[str, Any]:
        """The room with the names of its spots."""
        return {
            "room": self.cleaned_data["room"],
            "spots": self.cleaned_data["spot"],
            "use": self.cleaned_data["use"],
        }


class GroundPointForm(EntryForm):
    name = forms.CharField(
        label=_("Ground point"),
        max_length=80,
        help_text=_("The socket-outlet, the cleaned water pipe, the rod in damp soil."),
    )


class GroundCheckForm(OnceForm, EntryForm):
    point = forms.ModelChoiceField(
        GroundPoint.objects.none(), label=label_of(GroundCheck, "point"), empty_label="–"
    )
    outlet_test = forms.ChoiceField(
        label=label_of(GroundCheck, "outlet_test"),
        choices=GroundCheck.OutletTest.choices,
        initial=GroundCheck.OutletTest.NOT_TESTED,
    )
    other_point = forms.ModelChoiceField(
        GroundPoint.objects.none(), label=_("Against ground point"), required=False, empty_label="–"
    )
    voltage_v = NumberField(label=_("Voltage between them [V]"), required=False)
    note = forms.CharField(label=label_of(GroundCheck, "note"), max_length=10_000, required=False)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        points = GroundPoint.objects.filter(property=visit.property_id)
        for name in ("point", "other_point"):
            self.fields[name].queryset = points  # type: ignore[attr-defined]  # of its field class


class GroundCheckCorrectionForm(GroundCheckForm):
    key = None  # type: ignore[assignment]  # Django's way to drop a field
    version = forms.IntegerField(widget=forms.HiddenInput)

    @staticmethod
    def initial_of(check: GroundCheck, version: int) -> dict[str, Any]:
        names = {"point": "point_id", "other_point": "other_point_id"}
        shown = {
            name: getattr(check, names.get(name, name))
            for name in GroundCheckForm.base_fields
            if name != "key"
        }
        return shown | {"version": version}
