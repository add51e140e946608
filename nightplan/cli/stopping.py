"""Being stopped from outside: Ctrl-C, a polite end of the process, a terminal that closes."""

from __future__ import annotations

import os
import signal
import time
from types import FrameType

# A second Ctrl-C within this time belongs to the first; later it ends a clean-up that hangs.
_PATIENCE_S = 2.0
_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")


class StoppedError(BaseException):
    """Raised where the program is when it is stopped, so that drafts are removed on the way.

    No `KeyboardInterrupt`, which click answers with words of its own, and no `Exception`, which a
    step may catch.
    """

    def __init__(self, number: int) -> None:
        self.exit_status = 128 + number  # as shells count it
        super().__init__(self.exit_status)


def stop_on_signals() -> None:
    """Raise `StoppedError` on the first signal that asks to stop; ignored ones stay ignored."""
    first: list[float] = []

    def stop(number: int, frame: FrameType | None) -> None:
        now = time.monotonic()
        if not first:
            first.append(now)
            raise StoppedError(number)
        if now - first[0] > _PATIENCE_S:
            os._exit(128 + number)

    for number in _known():
        # `nohup` and shells that start work in the background set signals to be ignored.
        if signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, stop)


def stop_behind(error: BaseException) -> StoppedError | None:
    """The stop that another error hides: what makes classes wraps whatever comes in its way."""
    seen: BaseException | None = error
    while seen is not None and not isinstance(seen, StoppedError):
        seen = seen.__cause__ or seen.__context__
    return seen


def ignore_signals() -> None:
    """From here on there is nothing left to stop."""
    for number in _known():
        signal.signal(number, signal.SIG_IGN)


def _known() -> list[signal.Signals]:
    return [getattr(signal, name) for name in _SIGNALS if hasattr(signal, name)]
