"""Frozen machines: the band mill and the shop's saws. Lengths in mm, rates in mm/min, angles in radians.

Each field declares the key of the mill file that fills it (`pithline.keys.declared`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from pithline.keys.declared import key, table
from pithline.keys.readers import flag, length, list_of, number, one_of, rate, text, volume, weight, whole

BED_MOST = 100_000.0
"""No bed is longer. [mm]"""

_POSITIVE = length(at_least=None, above=0.0)
_ZERO_OR_MORE = length()
_MINUTES = number(at_least=0.0, what="number of minutes")


_CRADLES = key(
    "cradles_deg",
    list_of(number(above=0.0, at_most=90.0, what="angle in degrees"), 1),
    "angles of the cradles there are, that hold a bolt by a sawn face; a list, rising",
    "no: none",
    freeze=tuple,
)
_CRADLE_ANY = key("cradle_any", flag, "whether a cradle may be made to any other angle")
_MINUTES_REPEAT = key("minutes_repeat", _MINUTES, "minutes of each further setting of a set-up", "no: as the first")


@dataclass(frozen=True, slots=True)
class BandMill:
    """A horizontal band mill, as the table `[mill]` states it."""

    name: str = field(metadata=key("name", text, "what the mill is called"))
    kerf: float = field(metadata=key("kerf", _POSITIVE, "what its band turns to sawdust"))
    throat: float = field(metadata=key("throat", _POSITIVE, "largest height of wood above the blade"))
    guide_opening: float = field(metadata=key("guide_opening", _POSITIVE, "largest width of cut"))
    blade_min: float = field(metadata=key("blade_min", _ZERO_OR_MORE, "lowest blade above the bed"))
    blade_max: float = field(metadata=key("blade_max", _POSITIVE, "highest blade above the bed"))
    log_diameter_max: float = field(metadata=key("log_diameter_max", _POSITIVE, "thickest log it takes"))
    log_length_max: float = field(metadata=key("log_length_max", _POSITIVE, "longest log it takes"))
    log_length_min: float = field(metadata=key("log_length_min", _ZERO_OR_MORE, "shortest log it takes"))
    bunks: tuple[float, ...] = field(
        metadata=key(
            "bunks",
            list_of(length(at_most=BED_MOST), 2),
            "positions of the bunks along the bed, a list, rising",
            freeze=tuple,
        )
    )
    lift_max: float = field(metadata=key("lift_max", _ZERO_OR_MORE, "highest lift at a bunk"))
    lift_step: float = field(metadata=key("lift_step", _POSITIVE, "steps that lifts are set in"))
    roll_step: float = field(
        metadata=key(
            "roll_step_deg",
            number(above=0.0, at_most=90.0, what="angle in degrees"),
            "steps that the sawyer can turn a log by",
            freeze=math.radians,
        )
    )
    height_step: float = field(metadata=key("height_step", _POSITIVE, "steps of the blade's height"))
    clamp_room: float = field(
        metadata=key("clamp_room", _ZERO_OR_MORE, "wood left above the highest lift that carries, under the lowest cut")
    )
    clearance_margin: float = field(
        metadata=key("clearance_margin", _ZERO_OR_MORE, "nearer than this to a limit, a clearance run comes first")
    )
    minutes_per_setting: float = field(metadata=key("minutes_per_setting", _MINUTES, "minutes of a setting"))
    feed: float = field(metadata=key("feed", rate(), "rate of the cut, such as 4 m/min"))
    hour_rate: float = field(
        default=0.0,
        metadata=key("hour_rate", number(at_least=0.0, what="amount of money"), "what an hour costs, in your money"),
    )
    least_gain_per_setting: float = field(
        default=0.0,
        metadata=key("least_gain_per_setting", volume(), "volume that a setting must win to be made, such as 2 L"),
    )
    minutes_off_square: float = field(
        default=0.0,
        metadata=key("minutes_off_square", _MINUTES, "more minutes, where a half is not turned square to its face"),
    )
    settings_per_bolt_max: int | None = field(
        default=None,
        metadata=key("settings_per_bolt_max", whole(1), "at most so many settings in one bolt", "no: no limit"),
    )
    scale_reads: str = field(
        default="centre",
        metadata=key(
            "scale_reads",
            one_of("centre", "lower"),
            'whether printed heights mean the "centre" or the "lower" edge of the kerf',
        ),
    )
    minutes_per_cut: float = field(
        default=0.0,
        metadata=key("minutes_per_cut", _MINUTES, "minutes of a cut beside its sawing: return and off-bearing"),
    )
    minutes_per_log: float = field(
        default=0.0,
        metadata=key(
            "minutes_per_log", _MINUTES, "minutes of a log: cleaning, sweeping for metal, marking, first measuring"
        ),
    )
    cradles_deg: tuple[float, ...] = field(default=(), metadata=_CRADLES)
    cradle_any: bool = field(default=True, metadata=_CRADLE_ANY)
    minutes_repeat: float | None = field(default=None, metadata=_MINUTES_REPEAT)
    least_gain_per_repeat: float | None = field(
        default=None,
        metadata=key(
            "least_gain_per_repeat",
            volume(),
            "volume that a further setting of a set-up must win, such as 0.1 L",
            "no: as the first",
        ),
    )
    spring: float = field(
        default=0.0,
        metadata=key("spring", length(), "slack of a slab beyond its plates and kerfs: green wood moves, saws run"),
    )

    @property
    def repeat_minutes(self) -> float:
        """Minutes of a further setting of a set-up."""
        return self.minutes_per_setting if self.minutes_repeat is None else self.minutes_repeat

    @property
    def repeat_gain(self) -> float:
        """What a further setting of a set-up must win at least. [mm³]"""
        return self.least_gain_per_setting if self.least_gain_per_repeat is None else self.least_gain_per_repeat


@dataclass(frozen=True, slots=True)
class Resaw:
    """The shop's band saw. `None` means no stated limit."""

    kerf: float = field(metadata=key("kerf", _POSITIVE, "of the shop's band saw"))
    height_max: float = field(metadata=key("height_max", _POSITIVE, "tallest cut it takes"))
    piece_length_max: float | None = field(
        default=None, metadata=key("piece_length_max", _POSITIVE, "longest piece it takes", "no: no limit")
    )
    piece_weight_max: float | None = field(
        default=None,
        metadata=key("piece_weight_max", weight(), "heaviest piece it takes, such as 60 kg", "no: no limit"),
    )
    minutes_per_setting: float | None = field(
        default=None, metadata=key("minutes_per_setting", _MINUTES, "minutes of a setting", "no: not counted")
    )
    feed: float | None = field(default=None, metadata=key("feed", rate(), "rate of the cut", "no: not counted"))
    minutes_per_cut: float = field(
        default=0.0, metadata=key("minutes_per_cut", _MINUTES, "minutes of a cut beside its sawing")
    )
    cradles_deg: tuple[float, ...] = field(default=(), metadata=_CRADLES)
    cradle_any: bool = field(default=True, metadata=_CRADLE_ANY)
    minutes_repeat: float | None = field(default=None, metadata=_MINUTES_REPEAT)
    least_gain_per_repeat: float | None = field(
        default=None,
        metadata=key(
            "least_gain_per_repeat",
            volume(),
            "volume that a further setting of a set-up must win, such as 0.1 L",
            "no: the mill's",
        ),
    )
    spring: float = field(
        default=0.0,
        metadata=key("spring", length(), "slack of a billet beyond its plates and kerfs: green wood moves, saws run"),
    )

    @property
    def repeat_minutes(self) -> float:
        """Minutes of a further setting of a set-up."""
        return (self.minutes_per_setting or 0.0) if self.minutes_repeat is None else self.minutes_repeat


@dataclass(frozen=True, slots=True)
class RipSaw:
    """The saw that rips slabs into strips."""

    kerf: float = field(metadata=key("kerf", _POSITIVE, "of the saw that rips slabs into strips"))
    depth_max: float = field(metadata=key("depth_max", _POSITIVE, "thickest slab it takes"))
    feed: float | None = field(default=None, metadata=key("feed", rate(), "rate of the cut", "no: not counted"))
    minutes_per_cut: float = field(
        default=0.0, metadata=key("minutes_per_cut", _MINUTES, "minutes of a cut beside its sawing")
    )


@dataclass(frozen=True, slots=True)
class CrosscutSaw:
    """The saw that cuts strips to length."""

    kerf: float = field(metadata=key("kerf", _POSITIVE, "of the saw that cuts strips to length"))
    depth_max: float | None = field(
        default=None, metadata=key("depth_max", _POSITIVE, "thickest strip it takes", "no: no limit")
    )
    minutes_per_cut: float | None = field(
        default=None, metadata=key("minutes_per_cut", _MINUTES, "minutes of a cut", "no: not counted")
    )


@dataclass(frozen=True, slots=True)
class BuckSaw:
    """The chain saw that shortens the log."""

    kerf: float = field(
        metadata=key("kerf", _POSITIVE, "of the chain saw; the whole table may be left out", "no: the crosscut's kerf")
    )


@dataclass(frozen=True, slots=True)
class Machines:
    """Everything a mill file states."""

    mill: BandMill = field(metadata=table("mill", BandMill))
    resaw: Resaw = field(metadata=table("resaw", Resaw))
    rip: RipSaw = field(metadata=table("rip", RipSaw))
    crosscut: CrosscutSaw = field(metadata=table("crosscut", CrosscutSaw))
    buck: BuckSaw = field(metadata=table("buck", BuckSaw, required=False))
