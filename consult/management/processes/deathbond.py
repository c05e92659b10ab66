"""Processes that do not outlive the one that started them."""

import ctypes
import os
import signal
import sys

PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None


def die_with_parent(parent: int, death: signal.Signals = signal.SIGKILL) -> None:
    """Ask the kernel for `death` when `parent` is gone; without Linux nothing happens.

    Called in the child right after the fork. The kernel watches the thread that forked, so that has
    to be the parent's main thread.
    """
    if _libc is None:
        return
    _libc.prctl(PR_SET_PDEATHSIG, int(death), 0, 0, 0)
    if os.getppid() != parent:  # it died between the fork and the request
        os._exit(1)
