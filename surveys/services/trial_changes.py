"""A sealed trial, or what is known of its circuits, changed: a job follows for its cases."""

from uuid import uuid4

from consult.services.jobs import enqueue
from surveys.models import Reading

TRIALS_CHANGED = "trials-changed"


def follow_trials(*, home: int) -> None:
    """Have what was computed from the sealed trials of a home looked at again, where it has one.

    It is a job, because surveys know no cases.
    """
    trials = Reading.objects.filter(visit__property=home, visit__sealed_at__isnull=False)
    if trials.filter(state=Reading.State.TRIAL).exists():
        key = f"{TRIALS_CHANGED}:{home}:{uuid4()}"
        enqueue(kind=TRIALS_CHANGED, key=key, arguments={"home": home})
