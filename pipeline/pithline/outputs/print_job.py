"""What every page that is made of one cut script needs: the log as it is sawn, how measures are written, the paper."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from pithline.outputs.cut_script.reader import read_cut_script
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.cut_script.shop_measures import ShopMeasures
from pithline.outputs.cut_script.standing_faces import with_standing_faces
from pithline.outputs.formatting import Formatter
from pithline.script.document import dumps, loads


def plan_hash(script: Mapping[str, Any]) -> str:
    """First 16 hex digits of the SHA-256 of cut-script.json."""
    return _hash_of(dumps(dict(script)))


def _hash_of(written: bytes) -> str:
    return hashlib.sha256(written).hexdigest()[:16]


@dataclass(frozen=True, eq=False)
class PrintJob:
    """One cut script to print; `paper` is "A4" or "Letter"."""

    log: SawnPieces
    fmt: Formatter
    paper: str
    written: bytes | None = field(default=None, repr=False)
    """The script as it is written, where that is at hand."""
    known: dict[Any, dict[str, Any]] = field(default_factory=dict, repr=False)
    """See `kept`."""

    @cached_property
    def plan(self) -> str:
        """The hash that ties labels and cards to their plan."""
        return plan_hash(self.log.script.raw) if self.written is None else _hash_of(self.written)

    @cached_property
    def shop(self) -> ShopMeasures:
        """Where the saws of the shop cut."""
        return ShopMeasures(self.log)


def print_job(script: Mapping[str, Any], units: str = "mm", paper: str = "A4") -> PrintJob:
    """A cut script, as it was read from JSON, to print in `units` ("mm" or "in") on `paper` ("A4" or "Letter").

    Raises
    ------
    ScriptError
        Where a part of the script is missing or misshapen.
    """
    return PrintJob(SawnPieces(with_standing_faces(read_cut_script(script))), Formatter(units), paper)


def job_of_written(written: bytes, units: str = "mm", paper: str = "A4") -> PrintJob:
    """As `print_job`, of a cut script as it is written: one that `dumps` gave."""
    return replace(print_job(loads(written), units, paper), written=written)
