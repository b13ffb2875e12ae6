"""When a search is to end early: at a time limit, or at the first Ctrl-C. What it has found by then is kept."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from pithline.cli.console import Console


@contextmanager
def ending(console: Console, seconds: float | None) -> Iterator[Callable[[], bool]]:
    """Whether a search is to end: after so many seconds, or once Ctrl-C was pressed. A second Ctrl-C breaks off at once."""
    started, pressed = time.monotonic(), False

    def interrupted(number: int, frame: FrameType | None) -> None:
        nonlocal pressed
        if pressed:
            raise KeyboardInterrupt
        pressed = True
        console.note("stopping: the best plan so far will be written; press Ctrl-C again to write nothing.")

    def stopped() -> bool:
        return pressed or (seconds is not None and time.monotonic() - started > seconds)

    if threading.current_thread() is not threading.main_thread():
        yield stopped
        return
    before = signal.signal(signal.SIGINT, interrupted)
    try:
        yield stopped
    finally:
        signal.signal(signal.SIGINT, before)
