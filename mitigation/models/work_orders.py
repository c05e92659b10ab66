"""Orders: what a firm of licensed electricians is asked to do in a case."""

from datetime import date
from typing import Self
from uuid import uuid4

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.models import Firm, Letter, User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.attachments import Attachment
from mitigation.models.cases import Case
from mitigation.models.plans import Plan
from mitigation.models.remedies import PlanItem


class WorkOrderQuerySet(AtPropertyQuerySet["WorkOrder"]):
    property_ref = "case__property"

    def seen_by_electrician(self, user: User) -> Self:
        """Orders of their own firm, once they were sent."""
        return self.filter(firm=user.firm_id).exclude(state=WorkOrder.State.DRAFT)

    def for_list(self) -> Self:
        """With case, home and firm; the frozen words are fetched when they are read."""
        rows = self.select_related("case__property__client", "firm", "letter")
        return rows.defer("content", "letter__content")

    def live(self) -> Self:
        """Those that are to be done, or were."""
        return self.exclude(state__in=[WorkOrder.State.REFUSED, WorkOrder.State.CALLED_OFF])


class WorkOrder(PlainTexts):
    """What one firm is asked to do in a case; once sent its sheet is frozen, as a letter is.

    What is amended after that freezes a new sheet, and the letter of it takes the old one's place.
    """

    class State(models.TextChoices):
        DRAFT = "draft", _("not sent yet")
        SENT = "sent", _("sent")
        REFUSED = "refused", _("refused")
        REPORTED = "reported", _("reported")
        RETURNED = "returned", _("sent back")
        ACCEPTED = "accepted", _("report accepted")
        CALLED_OFF = "called off", _("called off")

    AT_WORK = (State.SENT, State.RETURNED)

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="orders")
    number = models.PositiveIntegerField()
    firm = models.ForeignKey(
        Firm, on_delete=models.PROTECT, related_name="orders", verbose_name=_("Firm")
    )
    plan = models.ForeignKey(
        Plan, null=True, blank=True, on_delete=models.SET_NULL, related_name="orders"
    )
    access = models.CharField(_("How to get in"), max_length=500, blank=True)
    contact = models.CharField(_("Contact on site"), max_length=200, blank=True)
    wished_days = models.CharField(_("Wished days"), max_length=200, blank=True)
    due_on = models.DateField(_("To be done by"), null=True, blank=True)
    agreed_at = models.DateTimeField(_("Agreed day and time"), null=True, blank=True)
    words = models.TextField(_("Words to the firm"), max_length=2_000, blank=True)
    documents = models.ManyToManyField(
        Attachment, related_name="orders", blank=True, verbose_name=_("Documents for the firm")
    )
    # Why it was sent although the firm's licence or insurance had run out.
    licence_reason = models.CharField(max_length=500, blank=True)
    # For the office and the client's outcome letter; the firm's pages never show it.
    charged = models.DecimalField(
        _("What the firm charged"), max_digits=10, decimal_places=2, null=True, blank=True
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    content = models.JSONField(default=dict, blank=True)
    content_sha256 = models.CharField(max_length=64, blank=True)
    letter = models.OneToOneField(
        Letter, null=True, blank=True, on_delete=models.PROTECT, related_name="work_order"
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    seen_at = models.DateTimeField(null=True, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    refused_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.CharField(max_length=120, blank=True)  # who of the firm took or refused it
    refusal = models.CharField(max_length=500, blank=True)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["uid", "content"])

    objects = WorkOrderQuerySet.as_manager()

    class Meta:
        ordering = ["case", "number"]
        constraints = [
            models.UniqueConstraint(fields=["case", "number"], name="order_number_is_unique"),
            models.CheckConstraint(
                condition=models.Q(
                    state__in=[
                        "draft", "sent", "refused", "reported", "returned", "accepted",
                        "called off",
                    ]
                ),
                name="order_state_is_known",
            ),
        ]  # fmt: skip
        indexes = [models.Index(fields=["firm", "state"], name="order_of_firm_by_state")]

    def __str__(self) -> str:
        return f"{self.case}, {self.number}"

    @property
    def is_erased(self) -> bool:
        """Whether its words went with the client; a sent order is never without any."""
        return self.sent_at is not None and not self.content

    def is_late(self, today: date) -> bool:
        """Whether its day is over and the firm has not reported."""
        return self.state in self.AT_WORK and self.due_on is not None and self.due_on < today


class WorkItemQuerySet(AtPropertyQuerySet["WorkItem"]):
    property_ref = "order__case__property"

    def seen_by_electrician(self, user: User) -> Self:
        """Those of their own firm's orders, once they were sent."""
        return self.filter(order__firm=user.firm_id).exclude(order__state=WorkOrder.State.DRAFT)


class WorkItem(PlainTexts):
    """An item of a plan in an order."""

    order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="items")
    item = models.ForeignKey(PlanItem, on_delete=models.PROTECT, related_name="work_items")
    position = models.PositiveIntegerField()
    words = models.TextField(_("What to see to"), max_length=1_000, blank=True)

    objects = WorkItemQuerySet.as_manager()

    class Meta:
        ordering = ["order", "position"]
        constraints = [
            models.UniqueConstraint(fields=["order", "item"], name="item_is_once_in_an_order"),
        ]

    def __str__(self) -> str:
        return str(self.item)
