"""Sizes of the practice layout."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pithline.files.bundled import bundled
from pithline.files.tables import Key, Table, length, list_of, read_toml, whole
from pithline.mill.practice_sizes import Practice

DEFAULT = "practice.toml"

_POSITIVE = Key(length(at_least=None, above=0.0), required=True)

PRACTICE = Table(
    {
        "practice": Table(
            {
                "centre_slab": _POSITIVE,
                "half_slab": _POSITIVE,
                "flitch": _POSITIVE,
                "flitches": Key(list_of(whole(1), 1), required=True),
            },
            required=True,
        )
    }
)


def read_practice(path: str | Path | None = None) -> Practice:
    """Read, check and freeze the practice sizes; the bundled ones where `path` is None."""
    return practice_from(practice_as_read(path))


def practice_as_read(path: str | Path | None = None) -> dict[str, Any]:
    """The file's table as read, lengths in mm."""
    return read_toml(bundled(DEFAULT) if path is None else path, PRACTICE)


def practice_from(values: Mapping[str, Any]) -> Practice:
    """The frozen sizes of a table as read."""
    sizes = dict(values["practice"])
    sizes["flitches"] = tuple(sorted(set(sizes["flitches"])))
    return Practice(**sizes)
