"""The frozen log card: what the sawyer states about one log. Lengths mm (but for scan coordinates), angles radians."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class ScanPoint:
    """A point given in the scan file's own coordinates and unit."""

    xyz: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class TapeMark:
    """A pith mark by tape, facing the end: from the leftmost and topmost point over bark, 12 o'clock line upright."""

    from_left: float
    from_top: float


@dataclass(frozen=True, slots=True)
class ArmsMark:
    """A pith mark by the arms of the plumb-and-level cross: pith to bark, facing that end; `None` where unmeasured."""

    up: float | None = None
    right: float | None = None
    down: float | None = None
    left: float | None = None


PithMark = ScanPoint | TapeMark | ArmsMark


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect in card form."""

    kind: str  # "knot" | "check" | "metal" | "rot"
    x: float | None = None
    end: str | None = None  # "butt" | "top"
    clock: float | None = None  # radians
    diameter: float | None = None
    length: float | None = None
    depth: float | None = None
    margin: float = 0.0


@dataclass(frozen=True, slots=True)
class Card:
    """A whole log card, validated."""

    id: str
    species: str
    scan: str | None
    scan_units: str = "m"
    up: str | None = None  # "+x" … "-z"
    butt: str | None = None  # "min" | "max"
    felled: str | None = None
    cost: float | None = None
    reference_length: float | None = None
    reference_in_scan: float | None = None
    trim_butt: float = 0.0
    trim_top: float = 0.0
    twelve_butt: ScanPoint | None = None
    twelve_top: ScanPoint | None = None
    bark_thickness: float | None = None
    sapwood_thickness: float | None = None
    spiral: float = 0.0
    tape_length: float | None = None
    tape_girth_butt: float | None = None
    tape_girth_top: float | None = None
    pith_radius: float | None = None
    pith_butt: PithMark | None = None
    pith_top: PithMark | None = None
    pith_error: float | None = None
    defects: tuple[Defect, ...] = field(default=())
