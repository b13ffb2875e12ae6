"""A cut script as a command's argument."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pithline.errors import ScriptError


def read_script(path: Path) -> dict[str, Any]:
    """The cut script in a file. InputError where it cannot be read, ScriptError where it is no cut script."""
    from pithline.files.tables import read_bytes
    from pithline.script.document import loads

    try:
        document = loads(read_bytes(path))
    except ScriptError as error:
        raise ScriptError(f"{path}: {error}") from error
    if document.get("format") != "pithline-cut-script" or document.get("version") != 1:
        raise ScriptError(f"{path} is no cut script of version 1; name a cut-script.json that `pithline plan` wrote.")
    return document
