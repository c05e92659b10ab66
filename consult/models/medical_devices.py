"""A powered medical device in a household: kept with consent alone, and withdrawn at any time."""

from typing import Self

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.access import RoleScopedQuerySet
from consult.models.clients import Property
from consult.models.people import User
from consult.models.texts import PlainTexts


class MedicalDeviceQuerySet(RoleScopedQuerySet["MedicalDevice"]):
    """The words are for the office alone; who measures or wires is only told to ask."""

    def current(self) -> Self:
        """Those whose words nobody has withdrawn."""
        return self.filter(withdrawn_at=None)


class MedicalDevice(PlainTexts):
    """What a household said of a device that must not lose its supply.

    It has no history, which would keep the words: a change withdraws a row and adds another.
    """

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="medical_devices")
    words = models.CharField(_("powered medical device"), max_length=200, blank=True)
    agreed_at = models.DateTimeField()
    entered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = MedicalDeviceQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["property"],
                condition=models.Q(withdrawn_at=None),
                name="one_current_medical_device_per_property",
            ),
            models.CheckConstraint(
                condition=(models.Q(withdrawn_at=None) & ~models.Q(words=""))
                | (models.Q(withdrawn_at__isnull=False) & models.Q(words="")),
                name="medical_device_has_words_until_withdrawn",
            ),
        ]

    def __str__(self) -> str:
        return f"medical device {self.pk}"
