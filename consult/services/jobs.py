"""Jobs as rows: written with the change they belong to, claimed with a lease, finished once.

Celery carries only a job's id, as a hint that there is work. A hint may be lost, late or doubled:
the sweep sends it again, and a claim is one conditional UPDATE, so that one attempt runs at a time.
"""

import logging
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone
from kombu.exceptions import ChannelError

from consult.celery import app
from consult.models import Heartbeat, Job
from consult.services.time_limits import at_most

log = logging.getLogger(__name__)

RUN_JOB = "consult.run_job"
HINTS_PER_SWEEP = 100
ALIVE_S = 15.0
FORGET_WORKER_AFTER = timedelta(days=1)
BROKER_PAUSE_S = 10.0
ADDRESS = "an e-mail address"  # what an argument may name instead of a row


@dataclass(frozen=True)
class Run:
    """One attempt at a job: what its handler may know and say."""

    job_id: int
    attempt: int

    def progress(self, percent: int) -> None:
        """Show how far the work is; nothing happens when the job has passed to another attempt."""
        _held(self).update(progress_percent=percent)

    def is_current(self) -> bool:
        """False when the lease ran out and another attempt has begun."""
        still_ours: bool = _held(self).exists()
        return still_ours


Handler = Callable[[dict[str, Any], Run], None]
WhenDead = Callable[[dict[str, Any], str], None]


@dataclass(frozen=True)
class Kind:
    """What is done for jobs of one kind, for how long and how often, and whose data it touches."""

    handler: Handler
    # What each argument names: the model whose row it is, an e-mail address, or nobody's data.
    about: Mapping[str, str | None]
    # Whether another attempt may begin when one did not come back. If not, the first is the last.
    repeatable: bool
    limit_s: float
    when_dead: WhenDead | None

    @property
    def most_attempts(self) -> int:
        return settings.JOB_MAX_ATTEMPTS if self.repeatable else 1


_kinds: dict[str, Kind] = {}


def register(
    kind: str,
    handler: Handler,
    *,
    about: Mapping[str, str | None],
    repeatable: bool,
    limit_s: float,
    when_dead: WhenDead | None = None,
) -> None:
    """Make a kind of job known; `when_dead` joins the transaction that gives one up."""
    for word, what in about.items():
        if named_rows().get(word, what) != what:
            raise ValueError(f"the argument {word!r} of jobs names rows of another model already")
    if limit_s <= 0:
        raise ValueError(f"jobs of the kind {kind!r} need some time")
    _kinds[kind] = Kind(handler, about, repeatable, limit_s, when_dead)


def limit_s(kind: str) -> float:
    """How long a job of this kind may take. [s]"""
    return _kinds[kind].limit_s


def named_rows() -> dict[str, str | None]:
    """What each argument of a job names, of every kind."""
    return {word: what for kind in _kinds.values() for word, what in kind.about.items()}


def _most_attempts(kind: str) -> int:
    known = _kinds.get(kind)
    return known.most_attempts if known else settings.JOB_MAX_ATTEMPTS


def _spent() -> Q:
    """Jobs that have had all their attempts."""
    once = [name for name, kind in _kinds.items() if not kind.repeatable]
    return Q(attempts__gte=settings.JOB_MAX_ATTEMPTS) | Q(kind__in=once, attempts__gte=1)


def enqueue(
    *, kind: str, key: str, arguments: dict[str, Any], run_after: datetime | None = None
) -> Job:
    """Write a job in the caller's transaction; the same key again gives the same job.

    Raises LookupError for a kind, and ValueError for an argument, that nobody declared: no erasure
    would find such a job.
    """
    if kind not in _kinds:
        raise LookupError(f"nobody registered jobs of the kind {kind!r}")
    if undeclared := set(arguments) - set(_kinds[kind].about):
        raise ValueError(f"jobs of the kind {kind!r} do not declare {sorted(undeclared)}")
    now = timezone.now()
    due = run_after or now
    with transaction.atomic():
        job, created = Job.objects.get_or_create(
            key=key, defaults={"kind": kind, "arguments": arguments, "run_after": due}
        )
        if created and due <= now:
            transaction.on_commit(partial(send_hints, [job.pk]), robust=True)
    return job


def revive(*, job: Job, now: datetime) -> bool:
    """Try a dead job again from its first attempt; False when it is not dead."""
    with transaction.atomic():
        revived = Job.objects.filter(pk=job.pk, state=Job.State.DEAD).update(
            state=Job.State.WAITING,
            attempts=0,
            run_after=now,
            lease_until=None,
            finished_at=None,
            progress_percent=0,
        )
        if revived:
            transaction.on_commit(partial(send_hints, [job.pk]), robust=True)
    return bool(revived)


def job_progress(key: str) -> int:
    """How far a job is. [%]"""
    return Job.objects.values_list("progress_percent", flat=True).get(key=key)


# -- One attempt ------------------------------------------------------------------------------


def run(*, job_id: int, worker: str = "") -> bool:
    """Claim a job and do it; False when there was nothing to claim."""
    claimed = claim(job_id=job_id, now=timezone.now())
    if claimed is None:
        return False
    job, attempt = claimed
    try:
        if job.kind not in _kinds:
            raise LookupError(f"no handler for jobs of kind {job.kind!r}")
        with at_most(limit_s(job.kind)):
            _kinds[job.kind].handler(job.arguments, attempt)
    except BaseException as error:  # a library's own BaseException must not cost a lease
        log.warning("job %s, attempt %d: %r", job, attempt.attempt, error)
        fail(attempt=attempt, error=_in_words(error), now=timezone.now())
        if not isinstance(error, Exception):
            raise
        return True
    now = timezone.now()
    if finish(attempt=attempt, now=now) and worker:
        Heartbeat.objects.filter(worker=worker).update(last_job_at=now)
    return True


def _in_words(error: BaseException) -> str:
    if isinstance(error, SystemExit):  # how the pool ends a child, with a short time to say so
        return "Ended from outside: the attempt ran out of time, or its worker was stopped."
    return f"{type(error).__name__}: {error}"


def claim(*, job_id: int, now: datetime) -> tuple[Job, Run] | None:
    """Take a due job for one lease. The attempt is counted here, so that one that kills counts."""
    with transaction.atomic():
        claimed = (
            Job.objects.due(now)
            .filter(~_spent(), pk=job_id)
            .update(
                state=Job.State.RUNNING,
                attempts=F("attempts") + 1,
                lease_until=now + timedelta(seconds=settings.JOB_LEASE_S),
                progress_percent=0,
            )
        )
        if not claimed:
            return None
        job = Job.objects.get(pk=job_id)
    return job, Run(job_id=job.pk, attempt=job.attempts)


def finish(*, attempt: Run, now: datetime) -> bool:
    """Mark the job done; False when it has passed to another attempt."""
    return bool(
        _held(attempt).update(
            state=Job.State.DONE,
            finished_at=now,
            lease_until=None,
            progress_percent=100,
            last_error="",
        )
    )


def fail(*, attempt: Run, error: str, now: datetime) -> bool:
    """Let the job wait for its next attempt, longer each time, or give it up after the last."""
    kind = Job.objects.values_list("kind", flat=True).get(pk=attempt.job_id)
    if attempt.attempt >= _most_attempts(kind):
        return _give_up(_held(attempt), job_id=attempt.job_id, reason=error, now=now)
    pause = timedelta(seconds=settings.JOB_BACKOFF_S * 2 ** (attempt.attempt - 1))
    return bool(
        _held(attempt).update(
            state=Job.State.WAITING, run_after=now + pause, lease_until=None, last_error=error
        )
    )


def _held(attempt: Run) -> Any:
    """The job's row, for as long as this attempt is the current one."""
    return Job.objects.filter(pk=attempt.job_id, state=Job.State.RUNNING, attempts=attempt.attempt)


def _give_up(rows: Any, *, job_id: int, reason: str, now: datetime) -> bool:
    with transaction.atomic():
        if not rows.update(
            state=Job.State.DEAD, finished_at=now, lease_until=None, last_error=reason
        ):
            return False
        job = Job.objects.get(pk=job_id)
        kind = _kinds.get(job.kind)
        if kind and kind.when_dead:
            kind.when_dead(job.arguments, reason)
    log.error("job %s is given up: %s", job, reason)
    return True


# -- The sweep --------------------------------------------------------------------------------


def sweep(*, now: datetime) -> int:
    """Give up jobs whose last attempt never came back, and send hints for what is due.

    Any number of workers may sweep at once. Returns the number of hints sent.
    """
    spent = Job.objects.due(now).filter(_spent())
    for pk in list(spent.values_list("pk", flat=True)):
        _give_up(
            spent.filter(pk=pk),
            job_id=pk,
            reason="The worker died or ran out of time in every attempt.",
            now=now,
        )
    due = list(Job.objects.due(now).values_list("pk", flat=True)[:HINTS_PER_SWEEP])
    if not due or hints_waiting():  # a queue that still has hints needs no more of them
        return 0
    return send_hints(due)


def beat(*, worker: str, now: datetime) -> None:
    """Show that a worker lives, and forget those that have been silent for a day."""
    Heartbeat.objects.update_or_create(worker=worker, defaults={"beat_at": now})
    Heartbeat.objects.filter(beat_at__lt=now - FORGET_WORKER_AFTER).delete()


def stop_beating(*, worker: str) -> None:
    """A worker that ends in order is not waited for."""
    Heartbeat.objects.filter(worker=worker).delete()


def worker_is_alive(*, now: datetime) -> bool:
    """True when some worker beat a moment ago."""
    silent = max(ALIVE_S, 3 * settings.JOB_SWEEP_S)
    return Heartbeat.objects.filter(beat_at__gt=now - timedelta(seconds=silent)).exists()


def unfinished_jobs() -> QuerySet[Job]:
    """Jobs that wait or run, oldest first."""
    return Job.objects.filter(Q(state=Job.State.WAITING) | Q(state=Job.State.RUNNING))


# -- Hints over the broker --------------------------------------------------------------------

_broker_rests_until = 0.0


def send_hints(job_ids: Iterable[int]) -> int:
    """Tell the workers of due jobs. A broker that is down costs two seconds at most, and no job."""
    global _broker_rests_until
    if not settings.CELERY_BROKER_URL or time.monotonic() < _broker_rests_until:
        return 0
    sent = 0
    try:
        for job_id in job_ids:
            app.send_task(RUN_JOB, args=[job_id], retry=False)
            sent += 1
    except Exception as error:  # whatever the broker's client raises: the sweep tries again
        _broker_rests_until = time.monotonic() + BROKER_PAUSE_S
        log.warning("no hint sent, the sweep will: %r", error)
    return sent


def broker_is_back() -> None:
    """A worker that has just reached the broker need not rest."""
    global _broker_rests_until
    _broker_rests_until = 0.0


def hints_waiting() -> int:
    """How many hints lie in the queue; 0 when the broker does not answer."""
    if not settings.CELERY_BROKER_URL:
        return 0
    queue = app.conf.task_default_queue
    try:
        with app.connection_or_acquire() as connection:
            declared = connection.default_channel.queue_declare(queue=queue, passive=True)
            return int(declared.message_count)
    except ChannelError:  # an empty queue does not exist in Redis
        return 0
    except Exception as error:
        log.warning("the broker does not answer: %r", error)
        return 0
