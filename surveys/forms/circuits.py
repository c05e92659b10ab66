"""Forms of panels, circuits and appliances."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.once import OnceForm
from consult.models import Property
from consult.services.changes import version_of
from surveys.forms.fields import NumberField
from surveys.forms.visits import EntryForm
from surveys.models import Appliance, Circuit, Panel, Room
from surveys.models.circuits import validate_source_name
from surveys.models.names import LONGEST

NOT_KNOWN = [("", _("not known"))]


class SourceForm(OnceForm, EntryForm):
    """A row that is entered once, or one that is there with the state that the person saw."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, row: Circuit | Appliance | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if row is None:
            del self.fields["version"]
        else:
            del self.fields["key"]
            names = (name for name in self.fields if name != "version")
            self.initial.update((name, self.shown(row, name)) for name in names)
            self.initial["version"] = version_of(row)

    @staticmethod
    def shown(row: Circuit | Appliance, name: str) -> Any:
        """What a field shows of the row."""
        return getattr(row, name)

    def given(self) -> dict[str, Any]:
        """What was typed, under the names that the services know; a form's key is its row's."""
        data = dict(self.cleaned_data)
        if "key" in data:
            data["uid"] = data.pop("key")
        return data


class CircuitForm(SourceForm):
    name = forms.CharField(
        label=_("Circuit"),
        max_length=LONGEST,
        validators=[validate_source_name],
        help_text=_("As it is numbered on the panel, such as F3."),
    )
    panel = forms.CharField(
        label=_("Panel"), max_length=LONGEST, required=False, help_text=_("Empty: the only one.")
    )
    label = forms.CharField(label=_("What it feeds"), max_length=200, required=False)
    phase = forms.ChoiceField(
        label=_("Phase"),
        choices=[("", _("the only one, or not known")), *Circuit.Phase.choices],
        required=False,
    )
    rating_a = NumberField(label=_("Rating [A]"), required=False)
    rcd = forms.ChoiceField(
        label=_("Residual-current protection"),
        choices=[*NOT_KNOWN, *Circuit.Rcd.choices],
        required=False,
    )
    poles = forms.TypedChoiceField(
        label=_("Poles that its switch opens"),
        choices=[*NOT_KNOWN, (1, "1"), (2, "2")],
        coerce=int,
        empty_value=None,
        required=False,
    )
    note = forms.CharField(label=_("Note"), max_length=10_000, required=False)


class ApplianceForm(SourceForm):
    name = forms.CharField(
        label=_("Appliance"), max_length=LONGEST, validators=[validate_source_name]
    )
    circuit = forms.ModelChoiceField(
        Circuit.objects.none(), label=_("Circuit"), required=False, empty_label="–"
    )
    room = forms.ModelChoiceField(
        Room.objects.none(), label=_("Room"), required=False, empty_label="–"
    )
    note = forms.CharField(label=_("Note"), max_length=10_000, required=False)

    def __init__(self, *args: Any, home: Property, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["circuit"].queryset = Circuit.objects.at(home.pk)  # type: ignore[attr-defined]  # of its field class
        self.fields["room"].queryset = Room.objects.filter(property=home)  # type: ignore[attr-defined]  # as above


class PanelForm(EntryForm):
    name = forms.CharField(label=_("Panel"), max_length=LONGEST)
    version = forms.IntegerField(widget=forms.HiddenInput)

    @staticmethod
    def initial_of(panel: Panel) -> dict[str, Any]:
        return {"name": panel.name, "version": version_of(panel)}
