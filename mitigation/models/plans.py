"""Plans that were offered to a client: frozen with what they promise, and decided once."""

from typing import Any, Self

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models import Letter, User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.cases import Case
from surveys.models import Spot
from surveys.models.measurands import MEASURAND_CHOICES


class PlanQuerySet(AtPropertyQuerySet["Plan"]):
    property_ref = "case__property"

    def seen_by_client(self, user: User) -> Self:
        """What was offered for their own properties."""
        return self.filter(case__property__client__user=user)

    def for_list(self) -> Self:
        """With what became of each; its words are fetched when they are read."""
        return self.select_related("decision").defer("content")

    def open(self) -> Self:
        """Those that still wait for an answer, whatever their day."""
        return self.filter(replaced_at=None, decision=None)


class PredictionQuerySet(AtPropertyQuerySet["Prediction"]):
    property_ref = "plan__case__property"


class DecisionQuerySet(AtPropertyQuerySet["Decision"]):
    property_ref = "plan__case__property"

    def seen_by_client(self, user: User) -> Self:
        """Those on plans of their own properties."""
        return self.filter(plan__case__property__client__user=user)


class Plan(models.Model):
    """A version of a plan that was offered: its words, items, prices and predictions stay.

    `content` is in the client's language. A newer version replaces an older one that nobody
    decided on.
    """

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="plans")
    number = models.PositiveIntegerField()
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    valid_until = models.DateField()
    offered_at = models.DateTimeField()
    offered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    letter = models.OneToOneField(
        Letter, null=True, blank=True, on_delete=models.PROTECT, related_name="plan"
    )
    replaced_at = models.DateTimeField(null=True, blank=True)

    objects = PlanQuerySet.as_manager()

    class Meta:
        ordering = ["case", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["case", "number"], name="plan_number_is_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.case}, {self.number}"

    @property
    def is_erased(self) -> bool:
        """Whether its words went with the client; an offer is never without any."""
        return not self.content

    def items_of(self, letter: str) -> list[dict[str, Any]]:
        """The frozen items of an option; none of one that the plan does not have."""
        options = self.content.get("options", [])
        return next((list(row["items"]) for row in options if row["letter"] == letter), [])


class Prediction(models.Model):
    """What a plan promises at one spot, for the items of one option; never changed."""

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="predictions")
    option = models.CharField(max_length=1)
    spot = models.ForeignKey(Spot, on_delete=models.CASCADE, related_name="predictions")
    measurand = models.CharField(max_length=30, choices=MEASURAND_CHOICES)
    basis = models.CharField(max_length=20)
    limit = models.FloatField(null=True)
    before = models.FloatField()
    # Empty where nobody can know.
    median = models.FloatField(null=True)
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    probability = models.FloatField(null=True)
    overall = models.FloatField(null=True)

    objects = PredictionQuerySet.as_manager()

    class Meta:
        ordering = ["plan", "option", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "option", "spot", "measurand"],
                name="prediction_is_once_in_an_option",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan} {self.option}: {self.spot}"


class Decision(PlainTexts):
    """The client's answer to a plan: once, on the version that was shown."""

    class Answer(models.TextChoices):
        ACCEPTED = "accepted", _("accepted")
        DECLINED = "declined", _("declined")

    class Way(models.TextChoices):
        LOG_IN = "log-in", _("with a log-in")
        LINK = "link", _("by the link that was e-mailed")
        OFFICE = "office", _("entered by the office")

    plan = models.OneToOneField(Plan, on_delete=models.CASCADE, related_name="decision")
    answer = models.CharField(max_length=8, choices=Answer.choices)
    option = models.CharField(max_length=1, blank=True)
    items = models.JSONField(default=list, blank=True)  # names of the accepted ones
    content_sha256 = models.CharField(max_length=64)  # of the version that was shown
    name = models.CharField(_("name"), max_length=120)  # who says so
    words = models.TextField(_("remark"), max_length=2_000, blank=True)
    way = models.CharField(max_length=6, choices=Way.choices)
    decided_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    decided_at = models.DateTimeField()

    objects = DecisionQuerySet.as_manager()

    class Meta:
        ordering = ["-decided_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(answer="declined", option="")
                | (models.Q(answer="accepted") & ~models.Q(option="")),
                name="accepted_plan_has_an_option",
            ),
            models.CheckConstraint(
                condition=models.Q(way__in=["log-in", "link", "office"]),
                name="decision_way_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan}: {self.answer}"

    @property
    def is_whole(self) -> bool:
        """Whether every item of the option was accepted: what was foretold is of all of them."""
        offered = {item["name"] for item in self.plan.items_of(self.option)}
        return bool(offered) and offered == set(self.items)
