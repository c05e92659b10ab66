"""Forms of a plan: its items, what is wanted of a choice, the name of a kept version."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from consult.forms.labels import label_of
from consult.forms.once import OnceForm
from consult.forms.texts import TextForm
from consult.models import Property
from consult.services.changes import version_of
from mitigation.calc.selection import USUAL_PROBABILITY
from mitigation.forms.money import MoneyField
from mitigation.letters.evidence_words import group_words
from mitigation.models import PlanDraft, PlanItem, Remedy
from mitigation.planning.achievements import measured_effects
from surveys.forms.fields import NumberField
from surveys.forms.visits import EntryForm
from surveys.models import Appliance, Circuit, Room, Spot
from surveys.models.circuits import with_label

_Boxes = forms.CheckboxSelectMultiple


class SpotChoiceField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]  # not subscriptable
    """Spots of the home, each with its room."""

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.room.name}, {obj.name}"


class SourceChoiceField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]  # as above
    """Circuits or appliances, a circuit with what it feeds."""

    def label_from_instance(self, obj: Any) -> str:
        return with_label(obj.name, getattr(obj, "label", ""))


class PlanItemForm(OnceForm, EntryForm):
    """An item of one kind: only the fields that fit the kind are asked."""

    FOLD = gettext_lazy("Another effect than the catalogue's")
    FOLDED: tuple[str, ...] = ("effect_db", "spread_db", "works_percent")
    ASSUMED = "assumed"

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    circuits = SourceChoiceField(
        Circuit.objects.none(), label=label_of(PlanItem, "circuits"), required=False, widget=_Boxes
    )
    appliances = SourceChoiceField(
        Appliance.objects.none(),
        label=label_of(PlanItem, "appliances"),
        required=False,
        widget=_Boxes,
    )
    room = forms.ModelChoiceField(
        Room.objects.none(), label=label_of(PlanItem, "room"), required=False, empty_label="–"
    )
    spots = SpotChoiceField(
        Spot.objects.none(),
        label=label_of(PlanItem, "spots"),
        required=False,
        widget=_Boxes,
        help_text=gettext_lazy("None ticked: all of the room."),
    )
    cost = MoneyField(
        label=label_of(PlanItem, "cost"),
        required=False,
        help_text=gettext_lazy("Empty: price on request. Such an item is never chosen by itself."),
    )
    effect = forms.ChoiceField(
        label=gettext_lazy("Effect"),
        required=False,
        widget=forms.RadioSelect,
        help_text=gettext_lazy(
            "The measured one is what homes of the practice say of the spot; its spread is that "
            "of a next home."
        ),
    )
    effect_db = NumberField(label=label_of(PlanItem, "effect_db"), required=False,
                            may_be_negative=True)  # fmt: skip
    spread_db = NumberField(label=label_of(PlanItem, "spread_db"), required=False)
    works_percent = NumberField(label=label_of(PlanItem, "works_percent"), required=False)
    note = forms.CharField(
        label=label_of(PlanItem, "note"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
    )

    def __init__(
        self, *args: Any, home: Property, remedy: Remedy, row: PlanItem | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.remedy = remedy
        self.measured = {row.group: row for row in measured_effects(remedy)}
        self._offer(home)
        self._fit()
        self._offer_effects()
        del self.fields["key" if row else "version"]
        if row is not None:
            self._show(row)

    def _offer(self, home: Property) -> None:
        rows: dict[str, Any] = {
            "circuits": Circuit.objects.at(home.pk).order_by("name"),
            "appliances": Appliance.objects.at(home.pk).order_by("name"),
            "room": Room.objects.filter(property=home),
            "spots": Spot.objects.filter(room__property=home).select_related("room"),
        }
        for name, queryset in rows.items():
            self.fields[name].queryset = queryset  # type: ignore[attr-defined]  # of its field class

    def _fit(self) -> None:
        """Leave only what the kind can have; what it cannot do without is required."""
        acts_on = self.remedy.acts_on
        if acts_on == Remedy.ActsOn.CIRCUITS:
            self.fields["circuits"].required = True
            del self.fields["appliances"]
        elif acts_on == Remedy.ActsOn.APPLIANCES:
            self.fields["appliances"].required = True
            del self.fields["circuits"]
        else:
            del self.fields["appliances"]
            self.fields["circuits"].help_text = _(
                "Only where it stands before the wires of these circuits alone."
            )
        if self.remedy.effect_db is None:
            self.FOLDED = ("works_percent",)
            self.fields["effect_db"].required = self.fields["spread_db"].required = True
        else:
            self.fields["effect_db"].help_text = _(
                "Empty: the assumption of the house, %(effect)g dB with a spread of %(spread)g dB."
            ) % {"effect": self.remedy.effect_db, "spread": self.remedy.spread_db or 0.0}

    def _offer_effects(self) -> None:
        """The assumption, and what homes say where there are enough of them: a person chooses."""
        if not self.measured:
            del self.fields["effect"]
            return
        assumed = _("the assumption of the house, %(effect)g dB with a spread of %(spread)g dB")
        effect, spread = self.remedy.effect_db, self.remedy.spread_db or 0.0
        choices = [(self.ASSUMED, assumed % {"effect": effect, "spread": spread})]
        for row in self.measured.values():
            words = _(
                "measured in %(n)d homes, %(group)s: %(effect)g dB with a spread of %(spread)g dB"
            )
            values = {"n": row.homes, "group": group_words(row.group)}
            values |= {"effect": row.effect_db, "spread": row.spread_db}
            choices.append((row.group, words % values))
        self.fields["effect"].choices = choices  # type: ignore[attr-defined]  # of its field class
        self.initial["effect"] = self.ASSUMED

    def _show(self, row: PlanItem) -> None:
        for name in self.fields:
            value = getattr(row, name, None)
            if name in ("circuits", "appliances", "spots"):
                value = list(value.all()) if value is not None else []
            self.initial[name] = value
        self.initial["version"] = version_of(row)
        given = row.effect_db, row.spread_db
        same = [key for key, of in self.measured.items() if given == (of.effect_db, of.spread_db)]
        if same:
            self.initial.update(effect=same[0], effect_db=None, spread_db=None)
        elif self.measured:
            self.initial["effect"] = self.ASSUMED if row.effect_db is None else ""

    def folded_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.FOLDED]

    def fold_is_open(self) -> bool:
        return any(field.errors or field.value() for field in self.folded_fields())

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        works = cleaned.get("works_percent")
        if works is not None and works > 100:
            self.add_error("works_percent", _("A percentage, 0 to 100."))
        if cleaned.get("spread_db") is not None and cleaned.get("effect_db") is None:
            self.add_error("effect_db", _("A spread needs its effect."))
        self._take_measured(cleaned)
        rooms = {spot.room for spot in cleaned.get("spots") or ()}
        if len(rooms) == 1 and not cleaned.get("room"):
            cleaned["room"] = rooms.pop()  # that of the spots
        return cleaned

    def _take_measured(self, cleaned: dict[str, Any]) -> None:
        """What homes say, where it was chosen: of the whole field of a spot, and nothing typed."""
        row = self.measured.get(cleaned.pop("effect", ""))
        if row is None:
            return
        if cleaned.get("effect_db") is not None:
            self.add_error("effect", _("Choose the measured effect or type another one."))
        elif cleaned.get("circuits"):
            self.add_error(
                "effect",
                _("Before the wires of circuits it acts on these alone: that is not measured."),
            )
        cleaned["effect_db"], cleaned["spread_db"] = row.effect_db, row.spread_db

    def given(self) -> dict[str, Any]:
        """What was typed, under the names that the service knows."""
        data = dict(self.cleaned_data)
        if "key" in data:
            data["uid"] = data.pop("key")
        return data


class ChoiceForm(TextForm):
    """What a choice has to hold."""

    probability = NumberField(label=gettext_lazy("Wanted probability [%]"), max_length=8)
    rows = forms.ChoiceField(
        label=gettext_lazy("Rows that count"),
        choices=[
            ("sleeping", gettext_lazy("sleeping spots")),
            ("all", gettext_lazy("every spot")),
        ],
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        kwargs.setdefault("auto_id", "choice-%s")
        super().__init__(*args, **kwargs)
        self.initial.setdefault("probability", 100 * USUAL_PROBABILITY)

    @staticmethod
    def usual() -> dict[str, str]:
        """What is asked where nobody asked for anything."""
        return {"probability": f"{100 * USUAL_PROBABILITY:g}", "rows": "sleeping"}

    def clean_probability(self) -> float:
        percent: float = self.cleaned_data["probability"]
        if not 0.0 < percent <= 100.0:
            raise forms.ValidationError(_("Above 0 and at most 100."))
        return percent / 100


class DraftForm(OnceForm, EntryForm):
    """A name for the plan as it is ticked."""

    name = forms.CharField(
        label=gettext_lazy("Name of this version"),
        max_length=PlanDraft._meta.get_field("name").max_length,
        help_text=gettext_lazy("Such as: without the cable."),
    )
