"""Versions of a plan that somebody keeps, to be held beside another one."""

from uuid import uuid4

from django.db import models
from django.utils.translation import gettext_lazy as _

from consult.models import User
from consult.models.clients import AtPropertyQuerySet
from consult.models.texts import PlainTexts
from mitigation.models.cases import Case


class PlanDraftQuerySet(AtPropertyQuerySet["PlanDraft"]):
    """Office and the property's assessors; never a client or an electrician: it has prices."""

    property_ref = "case__property"


class PlanDraft(PlainTexts):
    """What a plan was and what was foretold for it, under a name. It is kept or removed whole.

    `items` has name, kind, place and cost of each item of the plan; `rows` the figures of each spot
    and measurand.
    """

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="plan_drafts")
    name = models.CharField(_("name"), max_length=80)
    items = models.JSONField(default=list, blank=True)
    rows = models.JSONField(default=list, blank=True)
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField()
    uid = models.UUIDField(unique=True, default=uuid4, editable=False)

    objects = PlanDraftQuerySet.as_manager()

    class Meta:
        ordering = ["case", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["case", "name"],
                name="plan_draft_name_is_unique_in_case",
                violation_error_message=_("A version of this name is kept already."),
            ),
        ]

    def __str__(self) -> str:
        return self.name
