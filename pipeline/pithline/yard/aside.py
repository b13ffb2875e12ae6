"""Work done aside, in a process of its own, while a plan is being searched: what it gives is the same as if it were done in turn."""

from __future__ import annotations

import ctypes
import importlib
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from concurrent.futures import wait as wait_for
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing.synchronize import Event
from threading import Thread
from typing import Any, Generic, TypeVar

Found = TypeVar("Found")
WORTH_A_PROCESS = 0.15
"""A log of less wood is planned sooner than another process loads. [m³]"""


_asked_to_end: Event | None = None
"""Set, in the other process, once work that goes on there should come to an end."""


def _not_yet(_seconds: float = 0.0) -> bool:
    """It is done when what it gives is asked for."""
    return False


@dataclass(frozen=True, slots=True)
class Begun(Generic[Found]):
    """A piece of work that was begun: called, it waits for what that gives.

    `ready` tells whether it has been done by now, or is within so many seconds.
    """

    wait: Callable[[], Found]
    ready: Callable[..., bool] = _not_yet

    def __call__(self) -> Found:
        """What the work gives."""
        return self.wait()


def _nobody_waits(_script: dict[str, Any]) -> None:
    """Nothing is begun with a plan before it is proven."""


@dataclass(slots=True)
class Aside:
    """Begins work aside where it `may`, once a log is worth it; else work is done when what it gives is asked for.

    `later` names modules that the other process loads after the first piece of work, while it waits for more. `ready` is given a
    plan's script once it is whole and before it is proven, so that its pages may be drawn meanwhile; again with another one where that
    does not hold.
    """

    may: bool = False
    later: tuple[str, ...] = ()
    pool: ProcessPoolExecutor | None = None
    ending: Event | None = None
    ready: Callable[[dict[str, Any]], None] = _nobody_waits

    @property
    def apart(self) -> bool:
        """Whether work begun is under way at once."""
        return self.pool is not None

    def start(self, volume: float) -> None:
        """Let the other process load, for a log of so much wood. [mm³]"""
        if self.may and self.pool is None and volume * 1e-9 >= WORTH_A_PROCESS:
            # spawned, for threads of numerical libraries do not survive a fork
            context = multiprocessing.get_context("spawn")
            self.ending = context.Event()
            self.pool = ProcessPoolExecutor(1, mp_context=context, initializer=_settle, initargs=(self.ending,))

    def end_early(self) -> None:
        """Ask work that goes on in the other process to come to an end; work that never asks goes on."""
        if self.ending is not None:
            self.ending.set()

    def make_room(self) -> None:
        """Give back what a search no longer holds, where the other process is about to need as much."""
        if self.apart and sys.platform == "linux":
            trim = getattr(
                ctypes.CDLL(None), "malloc_trim", None
            )  # glibc keeps freed memory to itself; others have no such call
            if trim is not None:
                trim(0)

    def begin(self, work: Callable[..., Found], *about: object) -> Begun[Found]:
        """Begin a piece of work; what is returned waits for what it gives."""
        if self.pool is None:
            return Begun(partial(work, *about))
        try:
            waiting = self.pool.submit(work, *about)
            if self.later:
                self.pool.submit(_load, self.later)
                self.later = ()
        except BrokenExecutor:  # the process was ended from outside, and takes no more
            return Begun(partial(work, *about))

        def found() -> Found:
            try:
                return waiting.result()
            except BrokenExecutor:  # the process was ended from outside
                return work(*about)

        return Begun(found, lambda seconds=0.0: bool(wait_for((waiting,), seconds).done))


def asked_to_end() -> bool:
    """Whether work in this process, begun by another, should come to an end."""
    return _asked_to_end is not None and _asked_to_end.is_set()


def _load(modules: tuple[str, ...]) -> None:
    for one in modules:
        importlib.import_module(one)


IN_TURN = Aside()
"""All is done in turn."""


def end_with_parent() -> None:
    """End this process when the one that began it does, however that ends: a pool's process by itself waits for work for ever."""
    parent = multiprocessing.parent_process()

    def follow() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    Thread(target=follow, daemon=True).start()


def _settle(ending: Event) -> None:
    """Keep the process to one core; whoever began it hears of Ctrl-C and ends it."""
    import numba

    global _asked_to_end  # the one thing that a pool's process is told when it begins
    _asked_to_end = ending
    end_with_parent()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    numba.set_num_threads(1)


@contextmanager
def work_aside(*later: str) -> Iterator[Aside]:
    """Another process beside this one, where the machine has a core for it; it ends with the work.

    `later` names modules that it loads while it waits.
    """
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    aside = Aside(cores > 1, later)
    try:
        yield aside
    finally:
        if aside.pool is not None:
            aside.end_early()
            aside.pool.shutdown(wait=False, cancel_futures=True)
