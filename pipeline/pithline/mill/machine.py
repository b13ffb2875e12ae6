"""Frozen machines: the band mill and the shop's saws. Lengths in mm, rates in mm/min, angles in radians."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BandMill:
    """A horizontal band mill, as design section 6 `[mill]` states it."""

    name: str
    kerf: float
    throat: float
    guide_opening: float
    blade_min: float
    blade_max: float
    log_diameter_max: float
    log_length_max: float
    log_length_min: float
    bunks: tuple[float, ...]
    lift_max: float
    lift_step: float
    roll_step: float  # radians
    height_step: float
    clamp_room: float
    clearance_margin: float
    minutes_per_setting: float
    feed: float  # mm/min
    hour_rate: float = 0.0
    least_gain_per_setting: float = 0.0  # mm³
    minutes_off_square: float = 0.0
    settings_per_bolt_max: int | None = None
    scale_reads: str = "centre"
    minutes_per_cut: float = 0.0  # return and off-bearing
    minutes_per_log: float = 0.0  # cleaning, sweeping for metal, marking, first measuring
    cradles_deg: tuple[float, ...] = ()  # angles of the blocks that hold a bolt by a sawn face
    cradle_any: bool = True  # whether a cradle may be made to any other angle
    minutes_repeat: float | None = None  # of each further setting of a set-up; None: as the first
    least_gain_per_repeat: float | None = None  # mm³; None: as the first
    spring: float = 0.0

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

    kerf: float
    height_max: float
    piece_length_max: float | None = None
    piece_weight_max: float | None = None  # kg
    minutes_per_setting: float | None = None
    feed: float | None = None  # mm/min
    minutes_per_cut: float = 0.0
    cradles_deg: tuple[float, ...] = ()
    cradle_any: bool = True
    minutes_repeat: float | None = None
    least_gain_per_repeat: float | None = None  # mm³; None: the mill's
    spring: float = 0.0  # slack of slabs and billets beyond plates and kerfs, for green wood moves and saws run [mm]

    @property
    def repeat_minutes(self) -> float:
        """Minutes of a further setting of a set-up."""
        return (self.minutes_per_setting or 0.0) if self.minutes_repeat is None else self.minutes_repeat


@dataclass(frozen=True, slots=True)
class RipSaw:
    """The saw that rips slabs into strips."""

    kerf: float
    depth_max: float
    feed: float | None = None
    minutes_per_cut: float = 0.0


@dataclass(frozen=True, slots=True)
class CrosscutSaw:
    """The saw that cuts strips to length."""

    kerf: float
    depth_max: float | None = None
    minutes_per_cut: float | None = None


@dataclass(frozen=True, slots=True)
class BuckSaw:
    """The chain saw that shortens the log."""

    kerf: float


@dataclass(frozen=True, slots=True)
class Machines:
    """Everything a mill file states."""

    mill: BandMill
    resaw: Resaw
    rip: RipSaw
    crosscut: CrosscutSaw
    buck: BuckSaw
