"""How long things are kept: house assumptions, changed within limits on a page."""

from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


def _days(label: Any, default: int, least: int, most: int) -> Any:
    limits = [MinValueValidator(least), MaxValueValidator(most)]
    return models.PositiveIntegerField(label, default=default, validators=limits)


class Retention(models.Model):
    """The practice's periods: one row.

    The defaults are house assumptions and no law. Ten years for closed cases is about how long a
    claim for damages can come (from memory); a practice asks its own adviser.
    """

    case_years = _days(_("closed cases [years]"), 10, 1, 30)
    access_log_days = _days(_("log of log-ins and refusals [days]"), 365, 30, 1_825)
    mail_days = _days(_("wording of sent e-mails [days]"), 90, 15, 730)
    job_days = _days(_("finished jobs [days]"), 90, 7, 730)
    package_days = _days(_("copies of a person's data [days]"), 7, 1, 30)
    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="retention_is_one_row"),
        ]

    def __str__(self) -> str:
        return "retention"

    @classmethod
    def current(cls) -> "Retention":
        """The periods in force; the defaults until somebody has chosen."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)
