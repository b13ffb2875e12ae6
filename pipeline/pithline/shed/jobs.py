"""Long work in processes of its own. Its state is a file, so that it outlives the page and the server."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.write import write_folder
from pithline.shed.folder import YardFolder

ALIVE_EVERY = 1.0
"""Seconds between two writings of a state at most; a new best is written at once."""


@dataclass(frozen=True, slots=True)
class JobState:
    """How far one piece of work is, as its file tells.

    Attributes
    ----------
    kind : str
        One of `worker.KINDS`.
    log : str
        Empty for work on the whole yard.
    what : str
        What is being done, in words.
    part : float
        Fraction done.
    done : bool
    fault : str
        One sentence where it failed.
    out : str
        The plan's name within the yard, where one is made.
    curve : list
        [seconds since the start, best so far, bound or None] each time one of them changed.
    unit : str
        What the curve counts in.
    pid : int
        Of the process.
    started : float
        Seconds since the epoch.
    asked : mapping
        What was asked for.
    """

    kind: str
    log: str
    what: str = "starting"
    part: float = 0.0
    done: bool = False
    fault: str = ""
    out: str = ""
    curve: list[list[float | None]] = field(default_factory=list)
    unit: str = ""
    pid: int = 0
    started: float = 0.0
    asked: Mapping[str, Any] = field(default_factory=dict)

    @property
    def alive(self) -> bool:
        """Whether its process still works on it."""
        return not self.done and _is_worker(self.pid)

    @property
    def broken_off(self) -> bool:
        """Whether its process is gone before the end."""
        return not self.done and not self.alive and time.time() - self.started > 2.0


@dataclass(frozen=True, slots=True)
class Jobs:
    """The work of one yard: one piece of each kind for a log at a time."""

    yard: YardFolder

    def path(self, kind: str, log: str) -> Path:
        """The state's file; the log's name has been looked up before."""
        return self.yard.hidden / "work" / f"{kind}--{log}.json"

    def state(self, kind: str, log: str) -> JobState | None:
        """The last work of a kind on a log, running or ended; `None` where there was none."""
        try:
            return JobState(**json.loads(self.path(kind, log).read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            return None

    def start(self, kind: str, log: str, asked: Mapping[str, Any], out: str = "") -> JobState:
        """Start work; InputError where the same is under way already."""
        now = self.state(kind, log)
        if now is not None and now.alive:
            raise InputError(f"{log or 'the yard'} is being worked on already; wait for it, or stop it first.")
        path = self.path(kind, log)
        for left in (stop_file(path), end_of_best(path)):
            left.unlink(missing_ok=True)
        state = JobState(kind, log, out=out, started=time.time(), asked=dict(asked))
        write_state(path, state)
        command = [sys.executable, "-m", "pithline.shed.worker", str(self.yard.root), kind, log]
        environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1"}
        log_file = path.with_suffix(".log").open("wb")
        with log_file:
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=log_file,
                stderr=log_file,
                start_new_session=True,
                env=environment,
            )
        _children.append(process)
        return _named(path, state, process.pid)

    def stop(self, kind: str, log: str) -> None:
        """Ask work to end with what it has found."""
        stop_file(self.path(kind, log)).touch()

    def stopping(self, kind: str, log: str) -> bool:
        """Whether work under way was asked to end."""
        return stop_file(self.path(kind, log)).exists()

    def forget(self, kind: str, log: str) -> None:
        """Put an ended state aside, so that its page starts afresh."""
        state = self.state(kind, log)
        if state is not None and not state.alive:
            self.path(kind, log).unlink(missing_ok=True)


_children: list[subprocess.Popen[bytes]] = []
"""Processes that this server started; polled so that none stays behind as a zombie."""


def _named(path: Path, state: JobState, pid: int) -> JobState:
    """The state with its process; the process may have written by now, and then knows better."""
    try:
        written = JobState(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        written = state
    if written.pid:
        return written
    named = JobState(**{**as_json(state), "pid": pid})
    write_state(path, named)
    return named


def _is_worker(pid: int) -> bool:
    """Whether a process is alive and one of ours: a number may have passed on to another process since."""
    for child in list(_children):
        if child.poll() is not None:
            _children.remove(child)
        elif child.pid == pid:
            return True  # just begun, it may not show its command yet
    if pid <= 0:
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return False
    shown = Path(f"/proc/{pid}/cmdline")
    try:
        return b"pithline.shed.worker" in shown.read_bytes()
    except OSError:
        return not Path("/proc/self").exists()  # a system without /proc: the signal must do


def end_of_best(state: Path) -> Path:
    """The end view of the best plan so far, beside the state of a search."""
    return state.with_suffix(".svg")


def stop_file(path: Path) -> Path:
    """The file whose presence asks the work to end."""
    return path.with_suffix(".stop")


def as_json(state: JobState) -> dict[str, Any]:
    """A state as its file holds it."""
    return {name: getattr(state, name) for name in JobState.__dataclass_fields__}


def write_state(path: Path, state: JobState) -> None:
    """Write a state whole or not at all."""
    write_folder(path.parent, {path.name: json.dumps(as_json(state), ensure_ascii=False).encode()})
