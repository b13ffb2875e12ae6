"""Errors a user can cause, and the one class for defects of our own.

PithlineError            anything the user can mend; exit status 2
├── InputError           a file, key or value that cannot be used
├── FitError             no log, or no single log, in the scan
├── MillError            the mill cannot hold or saw this piece
├── PlanError            no plan fits what was asked
└── ScriptError          a cut script that does not hold
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


class PithlineError(Exception):
    """A fault the user can mend.

    Parameters
    ----------
    message : str
        One sentence: what, where, and what to do next. Must not be empty.
    """

    def __init__(self, message: str) -> None:
        if not message.strip():
            raise ValueError("an error needs a sentence")
        super().__init__(message)


class InputError(PithlineError):
    """A file, key or value that cannot be used."""


class FitError(PithlineError):
    """The scan does not show one log that can be fitted."""


class MillError(PithlineError):
    """The mill cannot hold or saw a piece; names the limit and the excess."""


class PlanError(PithlineError):
    """Nothing can be sawn within what was asked; names part, limit and amount missing."""


class ScriptError(PithlineError):
    """A cut script that does not hold when replayed."""


@contextmanager
def about(*, fit: object = None, other: object = None) -> Iterator[None]:
    """Put the file a fault is about before its sentence: `fit` for what the scan shows, `other` for all else."""
    try:
        yield
    except PithlineError as error:
        where = fit if isinstance(error, FitError) else other
        if where is None:
            raise
        error.args = (f"{where}: {error}",)  # the same error, for a class may hold more than its sentence
        raise
