"""Versions of a plan that somebody keeps beside the one that is ticked."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from consult.models import User
from mitigation.models import Case, PlanDraft
from surveys.services.entries import sent_before, with_uid


@transaction.atomic
def keep_draft(
    *,
    case: Case,
    by: User,
    now: datetime,
    name: str,
    items: Sequence[Mapping[str, Any]],
    rows: Sequence[Mapping[str, Any]],
    uid: UUID | None = None,
) -> PlanDraft:
    """Keep a plan under a name, once under its key."""
    Case.objects.select_for_update().get(pk=case.pk)
    known = sent_before(PlanDraft, uid, {"case": case, "name": name})
    if known is not None:
        return known
    draft = PlanDraft(
        case=case, name=name, items=list(items), rows=list(rows), made_by=by, made_at=now
    )
    with_uid(draft, uid)
    draft.full_clean()
    draft.save()
    return draft


@transaction.atomic
def remove_draft(*, draft: PlanDraft) -> None:
    """Let a kept version go; removed already, nothing is left to do."""
    PlanDraft.objects.filter(pk=draft.pk).delete()
