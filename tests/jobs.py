"""Jobs that wait, run as a worker runs them."""

from consult.models import Job
from consult.tasks import run_job


def run_waiting(kind: str) -> int:
    """Run what waits of a kind; how many there were."""
    waiting = list(Job.objects.filter(kind=kind, state=Job.State.WAITING))
    for job in waiting:
        run_job(job.pk)
        job.refresh_from_db()
        assert job.state == Job.State.DONE
    return len(waiting)
