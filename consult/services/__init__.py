"""Every write of the practice: jobs, letters, mail."""

from consult.services.jobs import Run, enqueue, register, revive, worker_is_alive
from consult.services.letters import (
    LetterFileError,
    issue_letter,
    letter_progress,
    open_letter,
    retry_letter,
)
from consult.services.mail import queue_mail

__all__ = [
    "LetterFileError",
    "Run",
    "enqueue",
    "issue_letter",
    "letter_progress",
    "open_letter",
    "queue_mail",
    "register",
    "retry_letter",
    "revive",
    "worker_is_alive",
]
