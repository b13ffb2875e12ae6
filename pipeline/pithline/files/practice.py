"""Sizes of the practice layout. Their keys are declared in `pithline.mill.practice_sizes`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pithline.files.bundled import bundled
from pithline.files.read import read_toml
from pithline.keys.declared import freeze, known_keys
from pithline.mill.practice_sizes import Practice

DEFAULT = "practice.toml"

PRACTICE = known_keys(Practice)
"""Tables and keys of the file."""


def read_practice(path: str | Path | None = None) -> Practice:
    """Read, check and freeze the practice sizes; the bundled ones where `path` is None."""
    return freeze(Practice, practice_as_read(path))


def practice_as_read(path: str | Path | None = None) -> dict[str, Any]:
    """The file's table as read, lengths in mm."""
    return read_toml(bundled(DEFAULT) if path is None else path, PRACTICE)
