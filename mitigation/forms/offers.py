"""Forms of an offered plan: what is offered, and how the client answers."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from consult.forms.texts import TextForm
from mitigation.models import Decision, PlanItem

OPTIONS = ("A", "B", "C")


class OfferForm(TextForm):
    """Up to three options, each a tick at the items that it has."""

    words = forms.CharField(
        label=_("Words to the client"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("They stand above the plan, on the page and in the letter."),
    )
    may_be_parted = forms.BooleanField(label=_("Single items may be accepted"), required=False)
    send = forms.BooleanField(
        label=_("E-mail the link as soon as the letter is ready"), required=False, initial=True
    )
    seen = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, items: Iterable[PlanItem], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rows = list(items)
        for item in self.rows:
            for letter in OPTIONS:
                label = f"{letter}: {item}"
                self.fields[f"{letter}-{item.pk}"] = forms.BooleanField(
                    label=label,
                    required=False,
                    initial=letter == "A" and item.is_chosen,
                    widget=forms.CheckboxInput({"aria-label": label}),
                )

    def table(self) -> list[tuple[PlanItem, list[forms.BoundField]]]:
        """Each item with its ticks."""
        return [(item, [self[f"{letter}-{item.pk}"] for letter in OPTIONS]) for item in self.rows]

    def options(self) -> list[list[str]]:
        """The names of the items of each option that has some."""
        sets = [
            [item.name for item in self.rows if self.cleaned_data[f"{letter}-{item.pk}"]]
            for letter in OPTIONS
        ]
        return [names for names in sets if names]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.errors and not self.options():
            raise ValidationError(_("Tick at least one item of an option."))
        return cleaned


class DecisionForm(TextForm):
    """An answer to one option, or a refusal; `shown` is the version that was on the screen."""

    answer = forms.ChoiceField(choices=Decision.Answer.choices, widget=forms.HiddenInput)
    option = forms.CharField(max_length=1, required=False, widget=forms.HiddenInput)
    shown = forms.CharField(max_length=64, widget=forms.HiddenInput)
    name = forms.CharField(label=_("Your name"), max_length=120)
    words = forms.CharField(
        label=_("Anything that we should know"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 2}),
    )

    def __init__(self, *args: Any, is_of_client: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_of_client:  # by phone or post: the office enters it
            self.fields["name"].label = _("Who answered")
            self.fields["words"].label = _("What they said")

    def items(self) -> list[str]:
        """The ticked items of the option."""
        data: Any = self.data
        return data.getlist("item") if hasattr(data, "getlist") else list(data.get("item", ()))


class QuestionForm(TextForm):
    name = forms.CharField(label=_("Your name"), max_length=120)
    question = forms.CharField(
        label=_("Your question"), max_length=2_000, widget=forms.Textarea({"rows": 3})
    )


def decision_forms(
    content: Mapping[str, Any], sent: DecisionForm | None, **more: Any
) -> list[dict[str, Any]]:
    """One form for each option, with that which came back in the place of its own."""
    forms_of_options = []
    for option in content["options"]:
        letter = option["letter"]
        if sent is not None and sent.data.get("option") == letter:
            sent.auto_id = f"{letter}-%s"
            form, ticked = sent, sent.items()
        else:
            form = answer_form("accepted", letter, **more)
            ticked = [item["name"] for item in option["items"]]
        forms_of_options.append({"option": option, "form": form, "ticked": ticked})
    return forms_of_options


def answer_form(
    answer: str, option: str = "", *, shown: str, name: str, is_of_client: bool
) -> DecisionForm:
    """A form that nobody sent yet; two on a page have names of their own for their fields."""
    return DecisionForm(
        auto_id=f"{option or answer}-%s",
        initial={"answer": answer, "option": option, "shown": shown, "name": name},
        is_of_client=is_of_client,
    )
