"""Children that die with their parent, whatever kills it."""

from __future__ import annotations

import ctypes
import os
import signal
from collections.abc import Callable

PR_SET_PDEATHSIG = 1  # prctl(2)
_libc = ctypes.CDLL(None, use_errno=True)  # loaded before any fork


def die_with(parent_pid: int, sent: signal.Signals) -> Callable[[], None]:
    """For `preexec_fn`: ask the kernel for `sent` when the parent ends, even by kill -9."""

    def ask() -> None:
        _libc.prctl(PR_SET_PDEATHSIG, int(sent), 0, 0, 0)
        if os.getppid() != parent_pid:  # it ended between fork and here
            os.kill(os.getpid(), signal.SIGKILL)

    return ask
