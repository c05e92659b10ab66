"""Remedies: the practice's catalogue, and the items of a case that come from it."""

from typing import Self
from uuid import uuid4

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy
from simple_history.models import HistoricalRecords

from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.cases import Case
from surveys.models import Appliance, Circuit, Room, Spot
from surveys.models.circuits import with_label

LONGEST_KEY = 40
PERCENT = [MinValueValidator(0), MaxValueValidator(100)]


class RemedyQuerySet(models.QuerySet["Remedy"]):
    def offered(self) -> Self:
        """Kinds that may still be put into a plan."""
        return self.filter(is_retired=False)


class Remedy(PlainTexts):
    """A kind of remedy. Once an item has it, it is never changed but followed by another one.

    Its effect is a house assumption, and called so wherever it is used.
    """

    class ActsOn(models.TextChoices):
        CIRCUITS = "circuits", _("circuits")
        APPLIANCES = "appliances", _("appliances")
        SPOTS = "spots", _("spots")

    class DoneBy(models.TextChoices):
        ELECTRICIAN = "electrician", _("a licensed electrician")
        ANYBODY = "anybody", _("anybody; bonding by a licensed electrician")
        CLIENT = "client", _("the client")

    key = models.CharField(_("key"), max_length=LONGEST_KEY, unique=True)
    name = models.CharField(_("name"), max_length=120)
    acts_on = models.CharField(_("acts on"), max_length=10, choices=ActsOn.choices)
    is_electric = models.BooleanField(_("acts on electric fields and body voltage"), default=True)
    is_magnetic = models.BooleanField(_("acts on the magnetic flux density"), default=False)
    # Empty where it is given with each item.
    effect_db = models.FloatField(_("effect [dB]"), null=True, blank=True)
    spread_db = models.FloatField(
        _("spread [dB]"), null=True, blank=True, validators=[MinValueValidator(0)]
    )
    works_percent = models.FloatField(_("works as it should [%]"), default=100, validators=PERCENT)
    done_by = models.CharField(_("done by"), max_length=12, choices=DoneBy.choices)
    instructions = models.TextField(_("what to bond, protect, test"), blank=True)
    price = models.DecimalField(
        _("usual price"), max_digits=10, decimal_places=2, null=True, blank=True
    )
    is_retired = models.BooleanField(_("offered no more"), default=False)
    history = HistoricalRecords()

    objects = RemedyQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(acts_on__in=["circuits", "appliances", "spots"]),
                name="remedy_acts_on_something_known",
            ),
            models.CheckConstraint(
                condition=models.Q(is_electric=True) | models.Q(is_magnetic=True),
                name="remedy_acts_on_a_measurand",
            ),
            models.CheckConstraint(
                condition=models.Q(works_percent__gte=0, works_percent__lte=100),
                name="remedy_works_is_a_percentage",
            ),
            models.CheckConstraint(
                condition=models.Q(effect_db__isnull=True, spread_db__isnull=True)
                | models.Q(effect_db__isnull=False, spread_db__gte=0),
                name="remedy_has_effect_and_spread_or_neither",
            ),
            models.CheckConstraint(
                condition=models.Q(price__isnull=True) | models.Q(price__gte=0),
                name="remedy_price_is_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class PlanItemQuerySet(AtPropertyQuerySet["PlanItem"]):
    property_ref = "case__property"

    def seen_by_client(self, user: object) -> Self:
        """Clients read a plan that was offered, not what may come into one."""
        return self.none()

    def settled(self) -> Self:
        """Those that were carried out or are not possible, in their order."""
        return self.filter(state__in=PlanItem.SETTLED).order_by("case", "position")

    def whole(self) -> Self:
        """With all that an item names: a fixed number of queries."""
        rows = self.select_related("remedy", "room")
        return rows.prefetch_related("circuits", "appliances", "spots")


class PlanItem(PlainTexts):
    """One remedy at one place of a case, with its cost."""

    class State(models.TextChoices):
        PROPOSED = "proposed", _("proposed")
        ACCEPTED = "accepted", _("accepted")
        DECLINED = "declined", _("declined")
        DONE = "done", pgettext_lazy("an item", "done")
        DONE_DIFFERENTLY = "done differently", _("done differently")
        NOT_POSSIBLE = "not possible", _("not possible")

    CARRIED_OUT = (State.DONE, State.DONE_DIFFERENTLY)
    SETTLED = (*CARRIED_OUT, State.NOT_POSSIBLE)

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="items")
    name = models.CharField(_("item"), max_length=40)
    position = models.PositiveIntegerField()
    remedy = models.ForeignKey(
        Remedy, on_delete=models.PROTECT, related_name="items", verbose_name=_("remedy")
    )
    circuits = models.ManyToManyField(
        Circuit, related_name="items", blank=True, verbose_name=_("circuits")
    )
    appliances = models.ManyToManyField(
        Appliance, related_name="items", blank=True, verbose_name=_("appliances")
    )
    room = models.ForeignKey(
        Room,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="items",
        verbose_name=_("room"),
    )
    # Empty: all of the room.
    spots = models.ManyToManyField(Spot, related_name="items", blank=True, verbose_name=_("spots"))
    # Where they are given they stand for those of the kind.
    effect_db = models.FloatField(_("effect [dB]"), null=True, blank=True)
    spread_db = models.FloatField(
        _("spread [dB]"), null=True, blank=True, validators=[MinValueValidator(0)]
    )
    works_percent = models.FloatField(
        _("works as it should [%]"), null=True, blank=True, validators=PERCENT
    )
    cost = models.DecimalField(_("cost"), max_digits=10, decimal_places=2, null=True, blank=True)
    is_chosen = models.BooleanField(_("in the plan"), default=False)
    state = models.CharField(
        _("state"), max_length=16, choices=State.choices, default=State.PROPOSED
    )
    done_on = models.DateField(_("done on"), null=True, blank=True)
    done_by = models.CharField(_("done by"), max_length=120, blank=True)
    note = models.TextField(_("note"), max_length=2_000, blank=True)
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)
    history = HistoricalRecords(excluded_fields=["uid"])

    objects = PlanItemQuerySet.as_manager()

    class Meta:
        ordering = ["case", "position"]
        constraints = [
            models.UniqueConstraint(fields=["case", "name"], name="item_name_is_unique_in_case"),
            models.CheckConstraint(
                condition=models.Q(
                    state__in=[
                        "proposed", "accepted", "declined", "done", "done differently",
                        "not possible",
                    ]
                ),
                name="item_state_is_known",
            ),
            models.CheckConstraint(
                condition=models.Q(cost__isnull=True) | models.Q(cost__gte=0),
                name="item_cost_is_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(works_percent__isnull=True)
                | models.Q(works_percent__gte=0, works_percent__lte=100),
                name="item_works_is_a_percentage",
            ),
            models.CheckConstraint(
                condition=models.Q(spread_db__isnull=True) | models.Q(spread_db__gte=0),
                name="item_spread_is_not_negative",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.name}: {self.remedy}"

    def source_words(self) -> tuple[str, ...]:
        """The circuits, each with what it feeds, and the appliances that it names."""
        circuits = [with_label(circuit.name, circuit.label) for circuit in self.circuits.all()]
        return (*circuits, *(appliance.name for appliance in self.appliances.all()))
