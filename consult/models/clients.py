"""Clients, their properties, and who of the assessors works where."""

from typing import Any, ClassVar, Self

from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.access import M_co, RoleScopedQuerySet
from consult.models.people import User
from consult.models.texts import PlainTexts

ERASED = "[erased "  # how the stand-in for a name begins, its number follows
COUNTRY = RegexValidator(r"^[A-Z]{2}$", _("A country is two capital letters, such as DE or US."))


class ClientQuerySet(RoleScopedQuerySet["Client"]):
    def present(self) -> Self:
        """Without those who were erased."""
        return self.exclude(name__startswith=ERASED)

    def for_list(self) -> Self:
        """One query for a list: the number of homes, counted for those that are shown alone."""
        homes = Property.objects.filter(client=models.OuterRef("pk")).order_by().values("client")
        n_properties = models.Subquery(homes.values(n=models.Count("pk")))
        return self.annotate(n_properties=Coalesce(n_properties, 0))

    def seen_by_assessor(self, user: User) -> Self:
        return self.filter(
            models.Exists(
                Assignment.objects.filter(property__client=models.OuterRef("pk"), user=user)
            )
        )

    def seen_by_client(self, user: User) -> Self:
        return self.filter(user=user)


class Client(PlainTexts):
    """Somebody for whom the practice works."""

    name = models.CharField(_("name"), max_length=120)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    address = models.TextField(_("postal address"), blank=True)
    language = models.CharField(_("language"), max_length=5, default="en")
    user = models.OneToOneField(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="client"
    )
    created_at = models.DateTimeField(auto_now_add=True)
    history = HistoricalRecords()

    objects = ClientQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(language__in=["en", "de"]), name="client_language_is_known"
            ),
        ]
        indexes = [models.Index(fields=["name", "id"], name="client_by_name")]

    def __str__(self) -> str:
        return self.name

    @property
    def is_erased(self) -> bool:
        """Whether only a number is left of them."""
        return self.name == f"{ERASED}{self.pk}]"


class AtPropertyQuerySet(RoleScopedQuerySet[M_co]):
    """Rows that hang on a property: an assessor sees those of the properties assigned to them."""

    property_ref: ClassVar[str] = "property"

    def seen_by_assessor(self, user: User) -> Self:
        return self.filter(assigned_to(user, self.property_ref))


class PropertyQuerySet(AtPropertyQuerySet["Property"]):
    property_ref = "pk"

    def seen_by_client(self, user: User) -> Self:
        return self.filter(client__user=user)


class Property(PlainTexts):
    """A home with its supply."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="properties")
    address = models.TextField(_("address"))
    country = models.CharField(_("country"), max_length=2, validators=[COUNTRY])
    supply_voltage_v = models.FloatField(
        _("Supply voltage [V]"), default=230.0, validators=[MinValueValidator(1)]
    )
    frequency_hz = models.FloatField(
        _("Frequency [Hz]"), default=50.0, validators=[MinValueValidator(1)]
    )
    phases = models.PositiveSmallIntegerField(
        _("phases"), default=1, choices=[(1, _("one")), (2, _("split")), (3, _("three"))]
    )
    history = HistoricalRecords()

    objects = PropertyQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "properties"
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(supply_voltage_v__gt=0, frequency_hz__gt=0),
                name="property_supply_is_positive",
            ),
            models.CheckConstraint(
                condition=models.Q(phases__in=[1, 2, 3]), name="property_phases_are_1_2_or_3"
            ),
        ]

    def __str__(self) -> str:
        return ", ".join(line.strip() for line in self.address.splitlines() if line.strip())


class AssignmentQuerySet(RoleScopedQuerySet["Assignment"]):
    def seen_by_assessor(self, user: User) -> Self:
        return self.filter(user=user)


class Assignment(models.Model):
    """An assessor works at a property."""

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="assignments")
    user = models.ForeignKey(
        User, on_delete=models.CASCADE, related_name="assignments", verbose_name=_("Name")
    )
    assigned_at = models.DateTimeField(auto_now_add=True)
    history = HistoricalRecords()

    objects = AssignmentQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["property", "user"], name="one_assignment_per_assessor_and_property"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} at {self.property}"


def assigned_to(user: Any, property_ref: str) -> models.Exists:
    """True for rows whose property (named by `property_ref`) is assigned to `user`."""
    return models.Exists(
        Assignment.objects.filter(property=models.OuterRef(property_ref), user=user)
    )
