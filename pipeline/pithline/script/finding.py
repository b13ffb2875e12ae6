"""What a replay finds wrong."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold: its kind, the operation, piece or plate, what is stated and what was found."""

    kind: str
    place: str
    stated: float | str
    found: float | str
    sentence: str
