"""Forms of the catalogue of remedies."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from consult.forms.labels import label_of
from consult.forms.once import OnceForm
from mitigation.forms.money import MoneyField
from mitigation.models import Remedy
from mitigation.models.remedies import LONGEST_KEY
from surveys.forms.fields import NumberField
from surveys.forms.visits import EntryForm

WORDS = ("name", "acts_on", "is_electric", "is_magnetic", "effect_db", "spread_db",
         "works_percent", "done_by", "instructions", "price")  # fmt: skip


class PriceForm(EntryForm):
    """What may change of a kind that items have."""

    price = MoneyField(
        label=label_of(Remedy, "price"),
        required=False,
        help_text=_("In the currency of the practice; empty: on request."),
    )
    is_retired = forms.BooleanField(
        label=label_of(Remedy, "is_retired"),
        required=False,
        help_text=_("Items that have it keep it."),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class RemedyForm(OnceForm, EntryForm):
    """A kind of remedy with its house assumptions."""

    code = forms.SlugField(
        label=label_of(Remedy, "key"),
        max_length=LONGEST_KEY,
        help_text=_("Letters, digits, hyphens; case folders name the kind by it."),
    )
    name = forms.CharField(label=label_of(Remedy, "name"), max_length=120)
    acts_on = forms.ChoiceField(label=label_of(Remedy, "acts_on"), choices=Remedy.ActsOn.choices)
    is_electric = forms.BooleanField(label=label_of(Remedy, "is_electric"), required=False)
    is_magnetic = forms.BooleanField(label=label_of(Remedy, "is_magnetic"), required=False)
    effect_db = NumberField(
        label=label_of(Remedy, "effect_db"),
        required=False,
        may_be_negative=True,
        help_text=_("A house assumption: 20 dB leave a tenth. Empty: given with each item."),
    )
    spread_db = NumberField(
        label=label_of(Remedy, "spread_db"),
        required=False,
        help_text=_("Standard deviation from home to home, a house assumption as well."),
    )
    works_percent = NumberField(
        label=label_of(Remedy, "works_percent"),
        help_text=_("Of a hundred such works, how many do what they should."),
    )
    done_by = forms.ChoiceField(label=label_of(Remedy, "done_by"), choices=Remedy.DoneBy.choices)
    instructions = forms.CharField(
        label=label_of(Remedy, "instructions"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
    )
    price = PriceForm.base_fields["price"]

    def given(self) -> dict[str, Any]:
        """What the service takes."""
        names = (name for name in ("key", "code", *WORDS) if name in self.fields)
        return {name: self.cleaned_data[name] for name in names}


class RemedyChangeForm(RemedyForm):
    key = None  # type: ignore[assignment]  # Django's way to drop a field
    code = None  # type: ignore[assignment]  # as above: folders know it
    is_retired = PriceForm.base_fields["is_retired"]
    version = forms.IntegerField(widget=forms.HiddenInput)

    def given(self) -> dict[str, Any]:
        own = {name: self.cleaned_data[name] for name in ("is_retired", "version")}
        return super().given() | own


def initial_of(remedy: Remedy) -> dict[str, Any]:
    """What a form of a known kind begins with."""
    return {name: getattr(remedy, name) for name in (*WORDS, "is_retired")}
