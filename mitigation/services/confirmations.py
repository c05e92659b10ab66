"""A client says that works are done: their own part, or what they saw of a firm's."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.models import User
from mitigation.models import Case, PlanItem, Stage, WorksConfirmation
from mitigation.services.cases import add_note, go_on
from mitigation.services.plan_items import finish_item
from mitigation.services.works_progress import clients_own
from surveys.services.entries import sent_before, with_uid


@transaction.atomic
def confirm_works(
    *,
    case: Case,
    items: Sequence[str],
    name: str,
    words: str,
    by: User,
    now: datetime,
    uid: UUID | None = None,
) -> WorksConfirmation:
    """Keep what a client says is done, and take the case on; once under its key."""
    Case.objects.select_for_update().get(pk=case.pk)
    chosen = sorted(set(items))
    known = sent_before(
        WorksConfirmation, uid, {"case": case, "items": chosen, "name": name, "words": words}
    )
    if known is not None:
        return known
    if case.stage != Stage.WORKS:
        raise ValidationError(_("No works are under way in this case."))
    own = {item.name: item for item in clients_own([case.pk]).select_for_update(of=("self",))}
    if set(chosen) - set(own):
        raise ValidationError(_("Tick only items of your own part."))
    if not chosen and not words.strip():
        raise ValidationError(_("Tick what is done, or write what you want to tell us."))
    row = with_uid(
        WorksConfirmation(
            case=case, items=chosen, name=name, words=words, confirmed_at=now, confirmed_by=by
        ),
        uid,
    )
    row.full_clean()
    row.save(force_insert=True)
    for item_name in chosen:
        finish_item(
            item=own[item_name],
            by=by,
            state=PlanItem.State.DONE,
            done_on=timezone.localdate(now),
            done_by=name,
        )
    if words.strip():
        text = _("About the works, by %(name)s: %(words)s")
        add_note(case=case, text=text % {"name": name, "words": words}, by=by, now=now)
    go_on(case=Case.objects.select_for_update().get(pk=case.pk), by=by, now=now)
    return row
