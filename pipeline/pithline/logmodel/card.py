"""The frozen log card: what the sawyer states about one log. Lengths mm (but for scan coordinates), angles radians.

Each field declares its key of the card's file (`pithline.keys.declared`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from pithline.errors import InputError
from pithline.keys.declared import key, tables
from pithline.keys.readers import date, flag, length, number, one_of, text
from pithline.logmodel.card_values import length_in_scan, pith_mark, scan_point, species_name
from pithline.units import SCAN_UNITS

AXES = ("+x", "-x", "+y", "-y", "+z", "-z")
SPIRAL_MOST_DEG = 45.0
"""A spiral beyond this is a slip of the pen; published spirals stay far below it (common practice, no source)."""
PITH_RADIUS = 25.0
"""Of the pith circle where the card states none. [mm] Makers keep 25 to 50 mm clear of it (common practice, no source)."""

MARK_ERROR = 3.0
"""Standard error of a pith mark where the card gives none. [mm] Common practice: a pith is marked to a few millimetres."""

_POSITIVE = length(at_least=None, above=0.0)
_ZERO_OR_MORE = length()
_MONEY = number(at_least=0.0, what="amount of money")
_CLOCK = number(at_least=-360.0, at_most=360.0, what="angle in degrees")
_SPIRAL = number(at_least=-SPIRAL_MOST_DEG, at_most=SPIRAL_MOST_DEG, what="angle in degrees")


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


def mark_from(value: Mapping[str, Any] | None) -> PithMark | None:
    """The frozen mark of one as read."""
    if value is None:
        return None
    if "xyz" in value:
        return _point_from(value)
    return TapeMark(**value) if "from_left" in value else ArmsMark(**value)


def _point_from(value: Mapping[str, Any]) -> ScanPoint:
    x, y, z = value["xyz"]
    return ScanPoint((float(x), float(y), float(z)))


@dataclass(frozen=True, slots=True)
class LengthInScan:
    """A known `length` [mm] and what it measures in the scan's own unit."""

    length: float
    in_scan: float


class DefectKind(StrEnum):
    """What a defect is; each kind is told by keys of its own (`DEFECT_KEYS`)."""

    KNOT = "knot"
    CHECK = "check"
    METAL = "metal"
    ROT = "rot"


DEFECT_KEYS: Mapping[DefectKind, tuple[str, ...]] = {
    DefectKind.KNOT: ("x", "clock_deg", "diameter"),
    DefectKind.CHECK: ("end", "clock_deg", "length", "depth"),
    DefectKind.METAL: ("x", "clock_deg", "diameter"),
    DefectKind.ROT: ("end", "diameter", "length"),
}
"""What each kind of defect is told by, besides its margin."""


def _told_by(name: str) -> str:
    """Which kinds need a key, for the docs."""
    return ", ".join(kind for kind, names in DEFECT_KEYS.items() if name in names)


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect in card form. Where a surface is meant it is the under-bark one.

    Raises
    ------
    InputError
        If its kind is not known.
    """

    kind: DefectKind = field(
        metadata=key("kind", one_of(*DefectKind), '"knot", "check", "metal" or "rot"', freeze=DefectKind)
    )
    x: float | None = field(
        default=None, metadata=key("x", _ZERO_OR_MORE, "station, from the butt end along the log", _told_by("x"))
    )
    end: str | None = field(
        default=None, metadata=key("end", one_of("butt", "top"), "end that it starts from", _told_by("end"))
    )
    clock: float | None = field(
        default=None,
        metadata=key("clock_deg", _CLOCK, "clock angle about the pith", _told_by("clock_deg"), freeze=math.radians),
    )
    diameter: float | None = field(
        default=None,
        metadata=key(
            "diameter", _POSITIVE, "of a knot at the surface, of metal, of rot about the pith", _told_by("diameter")
        ),
    )
    length: float | None = field(
        default=None, metadata=key("length", _POSITIVE, "how far it reaches from its end inwards", _told_by("length"))
    )
    depth: float | None = field(
        default=None, metadata=key("depth", _POSITIVE, "how far it reaches from the surface inwards", _told_by("depth"))
    )
    margin: float = field(default=0.0, metadata=key("margin", _ZERO_OR_MORE, "what is kept clear round it"))

    def __post_init__(self) -> None:
        if self.kind not in tuple(DefectKind):
            raise InputError(f'a defect of kind "{self.kind}" is not known; known kinds: {", ".join(DefectKind)}.')


@dataclass(frozen=True, slots=True)
class Figure:
    """A zone along the log whose wood shows figure; it multiplies prices of what has its wide plates within it."""

    kind: str = field(metadata=key("kind", text, 'what it is: "curl", "crotch", any words'))
    factor: float = field(
        metadata=key(
            "factor", number(above=0.0, what="factor"), "of the price of plates, and of sets by their widest plates"
        )
    )
    start: float | None = field(
        default=None,
        metadata=key("from", _ZERO_OR_MORE, "station where it begins, from the butt end", "no: the butt end"),
    )
    end: float | None = field(default=None, metadata=key("to", _ZERO_OR_MORE, "where it ends", "no: the top end"))

    def holds(self, low: float, high: float) -> bool:
        """Whether the stretch from one station to another lies within it. [mm]"""
        return (self.start is None or low >= self.start) and (self.end is None or high <= self.end)


def figure_factor(figures: Sequence[Figure], low: float, high: float) -> float:
    """By what figure multiplies the price of wood between two stations: the greatest factor of zones that hold it; 1 for none. [mm]"""
    return max((zone.factor for zone in figures if zone.holds(low, high)), default=1.0)


@dataclass(frozen=True, slots=True)
class Card:
    """A whole log card, validated."""

    id: str = field(metadata=key("log.id", text, "the log's name"))
    species: str = field(metadata=key("log.species", species_name, "its wood; `pithline species` lists the known ones"))
    scan: str | None = field(default=None, metadata=key("log.scan", text, "path of the scan, from the card", "to fit"))
    scan_units: str = field(
        default="m",
        metadata=key(
            "log.scan_units",
            one_of(*SCAN_UNITS, "tape"),
            'unit of the scan: "m", "cm", "mm", "in", "ft"; "tape": no scale, `[tape] length` sets it',
        ),
    )
    up: str | None = field(
        default=None,
        metadata=key("log.up", one_of(*AXES), 'axis of the scan that is up: "+x" … "-z"', "no: from the ground"),
    )
    butt: str | None = field(
        default=None,
        metadata=key(
            "log.butt",
            one_of("min", "max"),
            'end of the scan axis that is the butt: "min" or "max"',
            "no: from the pith marks, else the thicker end",
        ),
    )
    felled: str | None = field(default=None, metadata=key("log.felled", date, "date of felling"))
    cost: float | None = field(
        default=None, metadata=key("log.cost", _MONEY, "what the log cost, or what is asked for it")
    )
    grown: str | None = field(
        default=None,
        metadata=key(
            "log.grown",
            one_of("forest", "yard", "fence line"),
            '"forest", "yard" or "fence line": where metal is likely',
            'no: "forest"',
        ),
    )
    reference: LengthInScan | None = field(
        default=None,
        metadata=key(
            "log.reference",
            length_in_scan,
            '`{ length = "1 m", in_scan = 0.412 }`, for scans without scale',
            freeze=lambda value: LengthInScan(**value),
        ),
    )
    trim_butt: float = field(
        default=0.0, metadata=key("ends.trim_butt", _ZERO_OR_MORE, "what is kept off the butt end, square to it")
    )
    trim_top: float = field(default=0.0, metadata=key("ends.trim_top", _ZERO_OR_MORE, "the same of the top end"))
    twelve_butt: ScanPoint | None = field(
        default=None,
        metadata=key(
            "ends.twelve_butt",
            scan_point,
            "`{ xyz = [..] }`, a point of the plumb line on the butt end; with `twelve_top` or not at all",
            freeze=_point_from,
        ),
    )
    twelve_top: ScanPoint | None = field(
        default=None,
        metadata=key("ends.twelve_top", scan_point, "the same on the top end", freeze=_point_from),
    )
    coated: bool | None = field(
        default=None, metadata=key("ends.coated", flag, "true where the ends were coated at once", "no: false")
    )
    stain: bool | None = field(
        default=None, metadata=key("ends.stain", flag, "true where the ends show dark iron stain", "no: false")
    )
    bark_thickness: float | None = field(
        default=None,
        metadata=key("bark.thickness", _ZERO_OR_MORE, "bark, along the radius", "no: the species' usual bark"),
    )
    sapwood_thickness: float | None = field(
        default=None,
        metadata=key("sapwood.thickness", _ZERO_OR_MORE, "sapwood under the bark", "no: the upper end for the species"),
    )
    spiral: float = field(
        default=0.0,
        metadata=key(
            "grain.spiral_deg",
            _SPIRAL,
            "spiral grain, positive where fibres turn clockwise on their way to the top",
            freeze=math.radians,
        ),
    )
    tape_length: float | None = field(
        default=None, metadata=key("tape.length", _POSITIVE, "length by tape, against the fit's")
    )
    tape_girth_butt: float | None = field(
        default=None, metadata=key("tape.girth_butt", _POSITIVE, "girth over bark by tape, 100 mm in from the butt end")
    )
    tape_girth_top: float | None = field(
        default=None, metadata=key("tape.girth_top", _POSITIVE, "the same at the top end")
    )
    tape_sweep: float | None = field(
        default=None,
        metadata=key(
            "tape.sweep",
            _ZERO_OR_MORE,
            "largest distance of a string, stretched from end to end, from the middle of the bark, for logs without a scan "
            "([appraisal.md](appraisal.md))",
        ),
    )
    tape_sweep_clock: float | None = field(
        default=None,
        metadata=key("tape.sweep_clock_deg", _CLOCK, "the clock angle the log bows to", freeze=math.radians),
    )
    pith_radius: float | None = field(
        default=None,
        metadata=key(
            "pith.radius", _ZERO_OR_MORE, "of the pith circle, kept out of every plate", f"no: {PITH_RADIUS:g} mm"
        ),
    )
    pith_butt: PithMark | None = field(
        default=None,
        metadata=key(
            "pith.butt", pith_mark, "pith mark on the butt end, in one of three forms, below", "no: the centreline",
            freeze=mark_from,
        ),
    )  # fmt: skip
    pith_top: PithMark | None = field(
        default=None,
        metadata=key("pith.top", pith_mark, "the same on the top end", "no: the centreline", freeze=mark_from),
    )
    pith_error: float | None = field(
        default=None, metadata=key("pith.error", _ZERO_OR_MORE, "how far off a mark may be", f"no: {MARK_ERROR:g} mm")
    )
    defects: tuple[Defect, ...] = field(default=(), metadata=tables("defect", Defect))
    figures: tuple[Figure, ...] = field(default=(), metadata=tables("figure", Figure))
