"""What each source adds at a spot, kept with the digest of the rows that it rests on."""

from django.db import models
from django.db.models import Q

from consult.models.clients import AtPropertyQuerySet
from surveys.models import Spot, Visit
from surveys.models.measurands import MEASURAND_CHOICES


class TrialFitQuerySet(AtPropertyQuerySet["TrialFit"]):
    property_ref = "visit__property"


class TrialFit(models.Model):
    """The draws of one trial. A changed row has another digest, and leaves this one unused."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="trial_fits")
    spot = models.ForeignKey(Spot, on_delete=models.CASCADE, related_name="trial_fits")
    measurand = models.CharField(max_length=30, choices=MEASURAND_CHOICES)
    digest = models.CharField(max_length=64, unique=True)
    rule = models.CharField(max_length=20)
    names = models.JSONField(default=list)  # of the sources that are parts, folded
    is_misfit = models.BooleanField(default=False)
    model_error = models.FloatField(null=True)
    checkable = models.BooleanField(default=False)
    draws = models.BinaryField(null=True)  # an NPZ of the parts, their phases, what stays
    made_at = models.DateTimeField()

    objects = TrialFitQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(is_misfit=True) | Q(draws__isnull=False),
                name="trial_fit_has_draws_unless_it_misfits",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.spot}, {self.measurand}"
