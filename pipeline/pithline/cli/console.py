"""The only place that prints. Results go to stdout; progress, cautions and errors to stderr."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console as RichConsole

Progress = Callable[[str, float], None]
"""(what is being done, fraction done from 0 to 1)"""


class Console:
    """What a command may say. rich is imported when the first thing is said, so that --help stays quick."""

    def __init__(self, quiet: bool = False) -> None:
        self.quiet = quiet
        self._rich: dict[bool, RichConsole] = {}

    def show(self, *what: Any) -> None:
        """Print text or rich renderables on stdout; figures keep the colour of their text, and words their brackets."""
        self._of(stderr=False).print(*what, highlight=False, markup=False, soft_wrap=True)

    def json(self, document: Any) -> None:
        """Print a document as JSON on stdout, for machines."""
        sys.stdout.write(json.dumps(document, indent=2, ensure_ascii=False) + "\n")

    def note(self, sentence: str) -> None:
        """A remark on stderr, left out when quiet."""
        if not self.quiet:
            sys.stderr.write(_one_line(sentence) + "\n")

    def caution(self, sentence: str) -> None:
        """A caution on stderr."""
        sys.stderr.write(f"caution: {_one_line(sentence)}\n")

    def error(self, sentence: str) -> None:
        """The one line that tells the user what to mend."""
        sys.stderr.write(f"error: {_one_line(sentence)}\n")

    def defect(self, trace: str) -> None:
        """A fault of our own, with its traceback."""
        sys.stderr.write(f"{trace}defect: this is a fault in pithline itself, not in your files; please report it.\n")

    @contextmanager
    def progress(self) -> Iterator[Progress]:
        """A progress line on stderr while the block runs, or a line now and then where stderr is no terminal; silent when quiet.

        Yields
        ------
        callable
            To be called with what is being done and the fraction done.
        """
        if self.quiet:
            yield lambda label, fraction: None
            return
        if not sys.stderr.isatty():
            yield _Lines().tell
            return
        from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
        from rich.progress import Progress as RichProgress

        columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
        with RichProgress(*columns, console=self._of(stderr=True), transient=True) as bar:
            task = bar.add_task("", total=1.0)
            yield lambda label, fraction: bar.update(task, description=label, completed=fraction)

    def _of(self, stderr: bool) -> RichConsole:
        if stderr not in self._rich:
            from rich.console import Console as RichConsole

            self._rich[stderr] = RichConsole(stderr=stderr)
        return self._rich[stderr]


LINE_SECONDS = 5.0
"""Least time between two lines of progress in a log. [s]"""


class _Lines:
    """Progress as lines of a log: a line where the work changes or some time has passed, never more than that."""

    def __init__(self) -> None:
        self.last = time.monotonic()  # what is done at once needs no line

    def tell(self, what: str, fraction: float) -> None:
        """Say what is being done, unless something was said just now."""
        now = time.monotonic()
        if now - self.last >= LINE_SECONDS:
            self.last = now
            sys.stderr.write(f"{fraction:4.0%}  {_one_line(what)}\n")
            sys.stderr.flush()


def _one_line(sentence: str) -> str:
    return " ".join(sentence.split())
