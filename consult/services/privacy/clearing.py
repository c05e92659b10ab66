"""What is kept, for how long, and what goes by itself when its time is over."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.apps import apps
from django.db import transaction
from django.db.models import Min
from django.utils import timezone

from consult.models import Retention, User
from consult.services.changes import save_row
from consult.services.files import drop_file
from consult.services.guards import unguarded
from consult.services.jobs import Run, enqueue
from consult.services.privacy.erasures import resume_files
from consult.services.privacy.fates import Clearing, Overdue
from consult.services.privacy.persons import chunks, parts

CLEAR = "clear-old"


@dataclass(frozen=True)
class Due:
    """What of one kind goes now, and when the next of it goes."""

    clearing: Clearing
    days: int
    rows: int
    gone: int
    next_at: datetime | None


def save_retention(*, retention: Retention, by: User) -> Retention:
    """Keep the practice's periods; they hold from the next clearing on."""
    with transaction.atomic():
        save_row(row=retention, by=by)
    return retention


def clearings() -> list[Clearing]:
    return [clearing for part in parts() for clearing in part.clearings]


def what_goes(*, now: datetime) -> list[Due]:
    """What would go now, kind by kind; looking at it changes nothing."""
    retention = Retention.current()
    lines = []
    for clearing in clearings():
        days = _days(clearing, retention)
        rows = _rows(clearing)
        oldest = rows.exclude(**_over(clearing, days, now)).aggregate(at=Min(clearing.date))["at"]
        lines.append(
            Due(
                clearing=clearing,
                days=days,
                rows=rows.count(),
                gone=rows.filter(**_over(clearing, days, now)).count(),
                next_at=oldest and oldest + timedelta(days=days),
            )
        )
    return lines


def overdue_clients(*, now: datetime) -> list[Overdue]:
    """Clients whose time is over; they go when somebody says so, one by one."""
    return [overdue for part in parts() if part.overdue for overdue in part.overdue(now)]


def clear_old(*, now: datetime) -> dict[str, int]:
    """Delete or blank what is over; says how many rows of each kind."""
    retention = Retention.current()
    return {
        clearing.kind: _clear(clearing, _days(clearing, retention), now) for clearing in clearings()
    }


def clear_today(arguments: dict[str, Any], run: Run) -> None:
    """The day's job: clear, and try again what erasures could not delete."""
    now = timezone.now()
    clear_old(now=now)
    resume_files(now=now)


def plan_clearing(*, now: datetime) -> None:
    """Insert the day's job; its key is the day, so that several workers make one job."""
    day = timezone.localdate(now).isoformat()
    enqueue(kind=CLEAR, key=f"{CLEAR}:{day}", arguments={})


def _clear(clearing: Clearing, days: int, now: datetime) -> int:
    """Delete the file before its row, so that a killed job finds the row again."""
    model = apps.get_model(clearing.model)
    over = _rows(clearing).filter(**_over(clearing, days, now))
    keys = list(over.values_list("pk", flat=True))
    for chunk in chunks(keys):
        rows = model._base_manager.filter(pk__in=chunk)
        if clearing.file:
            for key in rows.values_list(clearing.file, flat=True):
                drop_file(key=key)
        with transaction.atomic(), unguarded():
            if clearing.blank:
                rows.update(**clearing.blank)
            else:
                rows.delete()
    return len(keys)


def _days(clearing: Clearing, retention: Retention) -> int:
    return clearing.days if isinstance(clearing.days, int) else getattr(retention, clearing.days)


def _rows(clearing: Clearing) -> Any:
    rows = apps.get_model(clearing.model)._base_manager.filter(clearing.only)
    return rows.filter(**{f"{clearing.date}__isnull": False})


def _over(clearing: Clearing, days: int, now: datetime) -> dict[str, datetime]:
    return {f"{clearing.date}__lte": now - timedelta(days=days)}
