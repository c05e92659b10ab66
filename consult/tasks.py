"""The doors through which Celery comes in: a task that runs a job, and each worker's timer."""

import logging
import resource
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

from celery import Celery, bootsteps, shared_task
from celery.signals import worker_init, worker_process_init
from django.conf import settings
from django.db import connections
from django.utils import timezone

from consult.celery import app
from consult.letters import rendering
from consult.services import jobs, letters, mail, medical_devices, password_resets
from consult.services.privacy import clearing, erasures, packages

log = logging.getLogger(__name__)

STATM = Path("/proc/self/statm")

jobs.register(
    letters.RENDER_LETTER,
    letters.render_letter,
    about={"letter": "consult.Letter", "when_ready": None},
    repeatable=True,
    limit_s=50,
    when_dead=letters.letter_failed,
)
jobs.register(
    mail.SEND_MAIL,
    mail.send_mail,
    about={"mail": "consult.OutboundMail"},
    repeatable=True,
    limit_s=30,
)
jobs.register(
    password_resets.RESET_PASSWORD,
    password_resets.mail_reset,
    about={"email": jobs.ADDRESS, "site": None},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    erasures.ERASE_FILES,
    erasures.erase_files,
    about={"erasure": "consult.Erasure"},
    repeatable=True,
    limit_s=50,
)
jobs.register(
    medical_devices.NOTE_WITHDRAWAL,
    medical_devices.note_withdrawal,
    about={"device": "consult.MedicalDevice"},
    repeatable=True,
    limit_s=10,
)
jobs.register(
    packages.MAKE_PACKAGE,
    packages.make_package,
    about={"package": "consult.DataPackage"},
    repeatable=True,
    limit_s=50,
    when_dead=packages.package_failed,
)
jobs.register(packages.DROP_PACKAGES, packages.drop_packages, about={}, repeatable=True, limit_s=50)
jobs.register(clearing.CLEAR, clearing.clear_today, about={}, repeatable=True, limit_s=50)


@shared_task(bind=True, name=jobs.RUN_JOB)
def run_job(self: Any, job_id: int) -> bool:
    """Do one job, if it is due and nobody else does it."""
    return jobs.run(job_id=job_id, worker=self.request.hostname or "")


class Pulse(bootsteps.StartStopStep):
    """Beats and sweeps every few seconds in the worker's main process, while it has its broker.

    It opens its own database connection each time and closes it again: pool children are forked
    from this very thread, and none of them may inherit an open one.
    """

    requires = ("celery.worker.consumer.tasks:Tasks",)

    def __init__(self, consumer: Any, **kwargs: Any) -> None:
        super().__init__(consumer, **kwargs)
        self.timer_entry: Any = None
        self.cleared_on: date | None = None

    def start(self, consumer: Any) -> None:
        jobs.broker_is_back()
        self.pulse(consumer.hostname)
        self.timer_entry = consumer.timer.call_repeatedly(
            settings.JOB_SWEEP_S, self.pulse, (consumer.hostname,)
        )

    def stop(self, consumer: Any) -> None:
        if self.timer_entry is not None:
            self.timer_entry.cancel()
            self.timer_entry = None
        self._with_database(lambda: jobs.stop_beating(worker=consumer.hostname))

    def pulse(self, worker: str) -> None:
        now = timezone.now()
        self._with_database(lambda: jobs.beat(worker=worker, now=now))
        self._with_database(lambda: jobs.sweep(now=now))
        if settings.DAILY_CLEARING and self.cleared_on != timezone.localdate(now):
            self._with_database(lambda: self.plan_clearing(now))

    def plan_clearing(self, now: datetime) -> None:
        """Have the day's clearing done, once a day; every worker asks, and one job comes of it."""
        clearing.plan_clearing(now=now)
        self.cleared_on = timezone.localdate(now)

    def _with_database(self, work: Callable[[], object]) -> None:
        try:
            work()
        except Exception:  # a database away for a moment must not end the worker
            log.exception("the worker's pulse failed, the next one tries again")
        finally:
            connections.close_all()


def add_pulse(celery: Celery) -> None:
    """Give each worker of the application its pulse."""
    celery.steps["consumer"].add(Pulse)


add_pulse(app)


@worker_init.connect
def load_letter_engine(**_: Any) -> None:
    """Loaded once before the pool forks, so that no child pays two seconds for its first letter."""
    rendering.renderer_versions()


@worker_process_init.connect
def limit_memory(**_: Any) -> None:
    """A job that eats memory fails, and not the machine."""
    if not STATM.exists():
        return
    pages = int(STATM.read_text().split()[0])
    limit = pages * resource.getpagesize() + int(settings.JOB_MEMORY_MB * 2**20)
    resource.setrlimit(resource.RLIMIT_AS, (limit, resource.getrlimit(resource.RLIMIT_AS)[1]))
