"""The number of the next case."""

from datetime import datetime

from django.utils import timezone

from mitigation.models import Case


def next_reference(now: datetime) -> str:
    """The next free reference of the year."""
    prefix = f"EB-{timezone.localtime(now).year}-"
    taken = Case.objects.filter(reference__startswith=prefix).values_list("reference", flat=True)
    numbers = [reference.removeprefix(prefix) for reference in taken]
    last = max((int(number) for number in numbers if number.isdecimal()), default=0)
    return f"{prefix}{last + 1:04d}"
