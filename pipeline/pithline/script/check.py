"""Checking a cut script from wherever it comes: its schema, then its replay; whatever is misshapen is told in one sentence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from pithline.errors import ScriptError
from pithline.script.replay import ReplayReport, replay
from pithline.script.schema import validate

MISSHAPEN = (KeyError, IndexError, TypeError, ValueError, OverflowError, RecursionError)
"""What reading a part of a script that is not there, or is not what it should be, ends in."""


def check_script(script: Mapping[str, Any]) -> ReplayReport:
    """Hold a cut script against its schema, and replay it on the log that it carries.

    Parameters
    ----------
    script : mapping
        The cut script as JSON has it.

    Returns
    -------
    ReplayReport
        What was found; `holds` where that is nothing.

    Raises
    ------
    ScriptError
        Where a part of the script is missing or misshapen, so that it cannot be replayed.
    """
    with _misshapen_told():
        validate(script)
        return replay(dict(script))


def replay_valid(script: Mapping[str, Any]) -> ReplayReport:
    """Replay a cut script that was held against its schema already.

    Raises
    ------
    ScriptError
        Where a part of it is misshapen all the same, so that it cannot be replayed.
    """
    with _misshapen_told():
        return replay(dict(script))


@contextmanager
def _misshapen_told() -> Iterator[None]:
    try:
        yield
    except MISSHAPEN as error:
        raise ScriptError(
            f"a part of the script is missing or misshapen ({type(error).__name__}: {error}); write it anew with `pithline plan`."
        ) from error
