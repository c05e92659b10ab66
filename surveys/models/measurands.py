"""The four quantities that a survey measures."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Measurand(models.TextChoices):
    ELECTRIC_FIELD_GROUND = "electric-field-ground", _("Electric field, ground-referenced")
    ELECTRIC_FIELD_POTENTIAL_FREE = (
        "electric-field-potential-free",
        _("Electric field, potential-free"),
    )
    BODY_VOLTAGE = "body-voltage", _("Body voltage")
    MAGNETIC_FLUX_DENSITY = "magnetic-flux-density", _("Magnetic flux density")
