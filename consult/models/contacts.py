"""People beside the client: a second person at home, a landlord, who pays."""

from typing import Self

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from consult.access import RoleScopedQuerySet
from consult.models.clients import Assignment, Client
from consult.models.people import User
from consult.models.texts import PlainTexts


class ContactQuerySet(RoleScopedQuerySet["Contact"]):
    def seen_by_assessor(self, user: User) -> Self:
        """Those of the clients in whose homes the assessor works."""
        return self.filter(
            models.Exists(
                Assignment.objects.filter(property__client=models.OuterRef("client"), user=user)
            )
        )


class Contact(PlainTexts):
    """Somebody whom the practice reaches about a client's homes."""

    class Part(models.TextChoices):
        SECOND_PERSON = "second-person", _("second person in the household")
        LANDLORD = "landlord", _("landlord")
        PAYER = "payer", _("pays the bill")
        OTHER = "other", _("other")

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="contacts")
    part = models.CharField(_("part"), max_length=14, choices=Part.choices)
    name = models.CharField(_("name"), max_length=120)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    address = models.TextField(_("postal address"), blank=True)
    history = HistoricalRecords()

    objects = ContactQuerySet.as_manager()

    class Meta:
        ordering = ["client", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(part__in=["second-person", "landlord", "payer", "other"]),
                name="contact_part_is_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name
