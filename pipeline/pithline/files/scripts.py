"""Cut scripts as files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pithline.errors import ScriptError
from pithline.files.read import read_bytes
from pithline.script.document import loads


def read_script(path: str | Path) -> dict[str, Any]:
    """Read the cut script in a file.

    Raises
    ------
    InputError
        If the file cannot be read.
    ScriptError
        If it is no cut script.
    """
    try:
        document = loads(read_bytes(Path(path)))
    except ScriptError as error:
        raise ScriptError(f"{path}: {error}") from error
    if document.get("format") != "pithline-cut-script" or document.get("version") != 1:
        raise ScriptError(f"{path} is no cut script of version 1; name a cut-script.json that `pithline plan` wrote.")
    return document
