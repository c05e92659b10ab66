"""What the office says of an upload whose certificates its owner may not add by themselves."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from consult.models import User
from mitigation.models import PendingUpload
from mitigation.services.uploads import KEPT_FOR_OFFICE, changed_meanwhile, have_imported
from surveys.services.registers import may_change_registers

State = PendingUpload.State
Step = PendingUpload.Step
Decision = PendingUpload.Decision


def decide_upload(
    *,
    pending: PendingUpload,
    by: User,
    decision: str,
    reason: str,
    now: datetime,
    seen: int,
) -> bool:
    """The office has an upload imported, or refuses it; False when this person did so before.

    `seen` is how often the upload had come back when they looked at it.
    """
    if not may_change_registers(by):
        raise ValidationError(_("Only the office decides on this."))
    if decision == Decision.REFUSED and not reason:
        raise ValidationError({"reason": _("Say why, so that its owner knows.")})
    waiting = PendingUpload.objects.for_office(now).filter(pk=pending.pk, times_returned=seen)
    outcome: dict[str, Any] = {"state": State.REFUSED, "step": Step.NONE, "preview": {}}
    if decision == Decision.CONFIRMED:
        outcome = {"state": State.IMPORTING, "step": Step.WAITING, "confirmed_at": now}
    until = now + KEPT_FOR_OFFICE
    with transaction.atomic():
        if seen == pending.times_returned and waiting.update(
            **outcome,
            decision=decision,
            decided_by=by,
            decided_at=now,
            decision_reason=reason,
            expires_at=until,
        ):
            if decision == Decision.CONFIRMED:
                have_imported(pending, until=until)
            else:
                default_storage.delete(str(pending.file))
            return True
    decided = PendingUpload.objects.decided().filter(pk=pending.pk).first()
    if decided is None:
        raise ValidationError(changed_meanwhile())
    if decided.decided_by != by or decided.decision != decision:
        raise ValidationError(decision_in_words(decided))
    return False


def decision_in_words(pending: PendingUpload) -> str:
    """Who decided on an upload, and when."""
    assert pending.decided_at is not None
    when = date_format(timezone.localtime(pending.decided_at), "DATETIME_FORMAT")
    words = {"name": pending.decided_by or _("The office"), "when": when}
    if pending.decision == Decision.CONFIRMED:
        return _("On %(when)s %(name)s confirmed this upload.") % words
    return _("On %(when)s %(name)s refused this upload.") % words
