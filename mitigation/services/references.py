"""What a case is called: its own reference, or the next free one."""

from datetime import datetime

from django.utils import timezone

from mitigation.models import Case, FormerReference


def next_reference(now: datetime) -> str:
    """The next free reference of the year."""
    prefix = f"EB-{timezone.localtime(now).year}-"
    taken = Case.objects.filter(reference__startswith=prefix).values_list("reference", flat=True)
    numbers = [reference.removeprefix(prefix) for reference in taken]
    last = max((int(number) for number in numbers if number.isdecimal()), default=0)
    return f"{prefix}{last + 1:04d}"


def is_taken(reference: str) -> bool:
    """Whether a case has this reference, or had it and letters print it."""
    cases, former = Case.objects.filter(reference=reference), FormerReference.objects
    return cases.exists() or former.named(reference).exists()
