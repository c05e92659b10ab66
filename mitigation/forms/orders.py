"""Forms of an order: made by the office, sent, called off, answered by the firm."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from consult.forms.days import DayField
from consult.forms.labels import label_of
from consult.forms.texts import TextForm
from consult.models import Firm
from consult.services.changes import version_of
from mitigation.forms.money import MoneyField
from mitigation.models import Attachment, Case, PlanItem, WorkItem, WorkOrder
from mitigation.services.work_orders import EDITABLE
from surveys.forms.visits import EntryForm

TAKE, REFUSE = "take", "refuse"


class OrderWordsForm(EntryForm):
    """What every order says beside its items."""

    access = forms.CharField(
        label=label_of(WorkOrder, "access"),
        max_length=500,
        required=False,
        help_text=_("Keys, entrance, parking, a dog."),
    )
    contact = forms.CharField(
        label=label_of(WorkOrder, "contact"),
        max_length=200,
        required=False,
        help_text=_("Whom to call on site, with the phone number."),
    )
    wished_days = forms.CharField(
        label=label_of(WorkOrder, "wished_days"), max_length=200, required=False
    )
    due_on = DayField(label=label_of(WorkOrder, "due_on"), required=False, years_back=1)
    words = forms.CharField(
        label=label_of(WorkOrder, "words"),
        max_length=2_000,
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text=_("The firm reads this. No prices and nothing private of the client."),
    )


class DocumentField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]  # not subscriptable
    """Files of the case that a firm gets with its order."""

    def __init__(self) -> None:
        super().__init__(
            Attachment.objects.none(),
            label=label_of(WorkOrder, "documents"),
            required=False,
            widget=forms.CheckboxSelectMultiple,
            help_text=_("The firm can open these files of the case, and no other."),
        )


def offer_documents(form: forms.Form, case: Case) -> None:
    """Have a form offer the files of a case that are ready."""
    rows = case.attachments.filter(state=Attachment.State.READY).defer("small", "sketch")
    form.fields["documents"].queryset = rows  # type: ignore[attr-defined]  # of its field class
    if not rows.exists():
        del form.fields["documents"]


class OrdersForm(OrderWordsForm):
    """Which firm does which accepted item."""

    documents = DocumentField()

    def __init__(
        self,
        *args: Any,
        case: Case,
        items: Iterable[PlanItem],
        firms: Iterable[Firm],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        offer_documents(self, case)
        self.items = list(items)
        self.firms = {str(firm.pk): firm for firm in firms}
        choices = [("", _("not now")), *((pk, firm.name) for pk, firm in self.firms.items())]
        usual = next(iter(self.firms)) if len(self.firms) == 1 else ""
        for item in self.items:
            self.fields[f"firm-{item.pk}"] = forms.ChoiceField(
                label=_("Firm"), choices=choices, required=False, initial=usual
            )
            self.fields[f"words-{item.pk}"] = forms.CharField(
                label=label_of(WorkItem, "words"), max_length=1_000, required=False
            )

    def rows(self) -> list[tuple[PlanItem, forms.BoundField, forms.BoundField]]:
        """Each item with its firm and what to see to."""
        return [(item, self[f"firm-{item.pk}"], self[f"words-{item.pk}"]) for item in self.items]

    def word_fields(self) -> list[forms.BoundField]:
        names = (*OrderWordsForm.base_fields, "documents")
        return [self[name] for name in names if name in self.fields]

    def firm_of(self) -> dict[int, Firm]:
        """The firm of each item that goes to one now."""
        chosen = {item.pk: self.cleaned_data[f"firm-{item.pk}"] for item in self.items}
        return {pk: self.firms[firm] for pk, firm in chosen.items() if firm}

    def words_of(self) -> dict[int, str]:
        return {item.pk: self.cleaned_data[f"words-{item.pk}"] for item in self.items}

    def is_ordered_by_now(self) -> bool:
        """Whether it names a firm for an item that waits no more: a second click."""
        waiting = {f"firm-{item.pk}" for item in self.items}
        names = {name for name, value in self.data.items() if name.startswith("firm-") and value}
        return bool(names - waiting)

    def given(self) -> dict[str, Any]:
        """What all of the orders say."""
        given = {name: self.cleaned_data[name] for name in OrderWordsForm.base_fields}
        return given | {"documents": self.cleaned_data.get("documents") or []}

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.errors and not self.firm_of() and not self.is_ordered_by_now():
            raise ValidationError(_("Choose a firm for at least one item."))
        return cleaned


class OrderForm(OrderWordsForm):
    """An order as it stands, with the state that the person saw."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    documents = DocumentField()

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.update({name: getattr(order, name) for name in EDITABLE})
        self.initial["version"] = version_of(order)
        offer_documents(self, order.case)
        self.initial["documents"] = list(order.documents.all())

    def given(self) -> dict[str, Any]:
        given = {name: self.cleaned_data[name] for name in EDITABLE}
        return given | {"documents": self.cleaned_data.get("documents") or []}


class ReasonForm(TextForm):
    """Why something is done all the same, or not at all."""

    reason = forms.CharField(label=_("because"), max_length=500, required=False)


class AcceptForm(ReasonForm):
    """A report is accepted, with what the firm charged where that is known."""

    charged = MoneyField(label=label_of(WorkOrder, "charged"), required=False)


class OrderAnswerForm(TextForm):
    """The firm takes an order on, or refuses it with why."""

    act = forms.ChoiceField(choices=[(TAKE, TAKE), (REFUSE, REFUSE)], widget=forms.HiddenInput)
    name = forms.CharField(label=_("Your name"), max_length=120)
    reason = forms.CharField(label=_("Why you refuse it"), max_length=500, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("act") == REFUSE and not cleaned.get("reason"):
            self.add_error("reason", _("Say why."))
        return cleaned
