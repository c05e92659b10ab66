"""How long a piece of work may take."""

import signal
import threading
from collections.abc import Generator
from contextlib import contextmanager
from types import FrameType


class OutOfTime(Exception):
    """The work took longer than its kind may."""


@contextmanager
def at_most(seconds: float) -> Generator[None, None, None]:
    """End the work inside with OutOfTime after `seconds`.

    A worker's child does its work in its main thread. Elsewhere no signal can be had, and the
    limits of the pool hold alone; they also end work that is deaf to this one.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(signum: int, frame: FrameType | None) -> None:
        raise OutOfTime(f"the attempt took longer than {seconds:g} s")

    before = signal.signal(signal.SIGALRM, end)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
