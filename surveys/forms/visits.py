"""Forms of a visit: its conditions, places and ground checks."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

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
