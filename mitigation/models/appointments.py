"""Appointments: when a firm comes to a home, proposed by one side and agreed by the other."""

from datetime import datetime, timedelta
from typing import Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from consult.models import User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.work_orders import WorkOrder

SHORTEST_MIN, LONGEST_MIN = 15, 12 * 60


class AppointmentQuerySet(AtPropertyQuerySet["Appointment"]):
    property_ref = "order__case__property"

    def seen_by_electrician(self, user: User) -> Self:
        """Those of their own firm's orders, once these were sent."""
        return self.filter(order__firm=user.firm_id).exclude(order__state=WorkOrder.State.DRAFT)

    def seen_by_client(self, user: User) -> Self:
        """Those in their own homes."""
        return self.filter(order__case__property__client__user=user)

    def for_list(self) -> Self:
        """With order, firm, case, home and client; no frozen words."""
        rows = self.select_related("order__firm", "order__case__property__client")
        return rows.defer("order__content")

    def open(self) -> Self:
        """Proposals that wait for an answer."""
        return self.filter(state=Appointment.State.PROPOSED)

    def agreed(self) -> Self:
        """Those that hold."""
        return self.filter(state=Appointment.State.AGREED)

    def overlapping(self, starts: datetime, ends: datetime) -> Self:
        """Agreed ones of which some part lies between two moments."""
        return self.agreed().filter(starts_at__lt=ends, ends_at__gt=starts)


class Appointment(PlainTexts):
    """One to three times that one side proposed, and what became of them.

    What is agreed is moved by another row that takes its place. In calendars all of an order are
    one and the same entry, whose `sequence` rises.
    """

    class State(models.TextChoices):
        PROPOSED = "proposed", pgettext_lazy("appointment", "proposed")
        AGREED = "agreed", pgettext_lazy("appointment", "agreed")
        DECLINED = "declined", pgettext_lazy("appointment", "declined")
        REPLACED = "replaced", pgettext_lazy("appointment", "replaced by another one")
        CALLED_OFF = "called off", pgettext_lazy("appointment", "called off")

    class Side(models.TextChoices):
        OFFICE = "office", _("the practice")
        FIRM = "firm", _("the firm")

    class Asked(models.TextChoices):
        FIRM = "firm", _("the firm")
        CLIENT = "client", _("the client")

    order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="appointments")
    side = models.CharField(max_length=6, choices=Side.choices)  # who proposed
    # Who is to answer; nobody where the office entered what both had agreed on.
    asked = models.CharField(max_length=6, choices=Asked.choices, blank=True)
    minutes = models.PositiveSmallIntegerField(
        _("How long [min]"),
        validators=[MinValueValidator(SHORTEST_MIN), MaxValueValidator(LONGEST_MIN)],
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.PROPOSED)
    proposed_at = models.DateTimeField()
    proposed_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    proposed_name = models.CharField(max_length=120)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    answered_name = models.CharField(max_length=120, blank=True)
    # Why it was declined or called off; for the office alone.
    reason = models.CharField(max_length=200, blank=True)
    starts_at = models.DateTimeField(null=True, blank=True)
    ends_at = models.DateTimeField(null=True, blank=True)
    sequence = models.PositiveIntegerField(default=0)
    ended_at = models.DateTimeField(null=True, blank=True)  # replaced or called off

    objects = AppointmentQuerySet.as_manager()

    class Meta:
        ordering = ["order", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    state__in=["proposed", "agreed", "declined", "replaced", "called off"]
                ),
                name="appointment_state_is_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="agreed")
                | models.Q(starts_at__isnull=False, ends_at__gt=models.F("starts_at")),
                name="agreed_appointment_has_its_time",
            ),
            models.UniqueConstraint(
                fields=["order"],
                condition=models.Q(state="agreed"),
                name="one_agreed_appointment_per_order",
            ),
            models.UniqueConstraint(
                fields=["order"],
                condition=models.Q(state="proposed"),
                name="one_open_proposal_per_order",
            ),
        ]
        indexes = [
            models.Index(
                fields=["starts_at"],
                name="agreed_appointment_by_time",
                condition=models.Q(state="agreed"),
            )
        ]

    def __str__(self) -> str:
        return f"{self.order}: {self.state}"

    @property
    def length(self) -> timedelta:
        return timedelta(minutes=self.minutes)

    @property
    def was_agreed(self) -> bool:
        """Whether it stood in calendars at some time."""
        return self.starts_at is not None


class ProposedTime(models.Model):
    """A moment at which an appointment could begin."""

    appointment = models.ForeignKey(Appointment, on_delete=models.CASCADE, related_name="times")
    starts_at = models.DateTimeField()

    class Meta:
        ordering = ["appointment", "starts_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["appointment", "starts_at"], name="proposed_time_is_once_in_an_appointment"
            ),
        ]

    def __str__(self) -> str:
        return str(self.starts_at)
