"""What each case adds to evidence and promises, kept so that no reading is read for a summary."""

from typing import Self

from django.db import models
from django.db.models import Q

from consult.access import RoleScopedQuerySet
from consult.models import User
from consult.models.clients import AtPropertyQuerySet
from mitigation.models.cases import Case
from mitigation.models.plans import Prediction


class CaseEvidenceQuerySet(AtPropertyQuerySet["CaseEvidence"]):
    property_ref = "case__property"


class KeptEffectQuerySet(RoleScopedQuerySet["KeptEffect"]):
    def seen_by_assessor(self, user: User) -> Self:
        """All of the practice: a row names no home. Whose case it is, the case's rows say."""
        return self.all()

    def with_figure(self) -> Self:
        """Homes that say something of their kind."""
        return self.filter(effect__isnull=False)


class KeptPromiseQuerySet(RoleScopedQuerySet["KeptPromise"]):
    def seen_by_assessor(self, user: User) -> Self:
        """All of the practice, as of effects."""
        return self.all()

    def broken(self) -> Self:
        """Those that did not come out as foretold.

        Outside of their interval; or the target was missed, though it was rather to be met.
        """
        return self.filter(Q(inside=False) | Q(met=False, probability__gte=0.5))


class CaseEvidence(models.Model):
    """That the rows of a case were kept, and the digest of all that they rest on."""

    case = models.OneToOneField(Case, on_delete=models.CASCADE, related_name="evidence")
    digest = models.CharField(max_length=64)
    rules = models.JSONField(default=list)
    made_at = models.DateTimeField()

    objects = CaseEvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["case"]

    def __str__(self) -> str:
        return f"{self.case}, {self.made_at:%Y-%m-%d}"


class KeptEffect(models.Model):
    """One home for one kind, or kinds that acted together, in one group of measurands."""

    class Group(models.TextChoices):
        ELECTRIC = "electric"
        MAGNETIC = "magnetic"

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="effects")
    remedy = models.CharField(max_length=2_000)  # keys of the catalogue, sorted and joined
    group = models.CharField(max_length=8, choices=Group.choices)
    n_rows = models.PositiveIntegerField()
    # Mean and variance of ln(after/before); empty where every row is left out.
    effect = models.FloatField(null=True)
    variance = models.FloatField(null=True)
    left_out = models.JSONField(default=dict)  # number of rows by reason

    objects = KeptEffectQuerySet.as_manager()

    class Meta:
        ordering = ["remedy", "group", "case"]
        constraints = [
            models.UniqueConstraint(
                fields=["case", "remedy", "group"], name="effect_is_once_in_a_case"
            ),
            models.CheckConstraint(
                condition=Q(n_rows=0, effect__isnull=True, variance__isnull=True)
                | Q(n_rows__gt=0, effect__isnull=False, variance__gt=0),
                name="effect_has_rows_or_no_figure",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case}: {self.remedy}, {self.group}"


class KeptPromise(models.Model):
    """A row of a frozen prediction, held against what the follow-up found."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="promises")
    prediction = models.OneToOneField(Prediction, on_delete=models.CASCADE, related_name="held")
    after = models.FloatField()
    inside = models.BooleanField()
    probability = models.FloatField()
    met = models.BooleanField()
    ln_ratio = models.FloatField()  # ln(after / predicted median)

    objects = KeptPromiseQuerySet.as_manager()

    class Meta:
        ordering = ["case", "pk"]

    def __str__(self) -> str:
        return f"{self.prediction}: {self.after:g}"
