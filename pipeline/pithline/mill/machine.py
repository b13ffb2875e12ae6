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


@dataclass(frozen=True, slots=True)
class Resaw:
    """The shop's band saw. `None` means no stated limit."""

    kerf: float
    height_max: float
    piece_length_max: float | None = None
    piece_weight_max: float | None = None  # kg
    minutes_per_setting: float | None = None
    feed: float | None = None  # mm/min


@dataclass(frozen=True, slots=True)
class RipSaw:
    """The saw that rips slabs into strips."""

    kerf: float
    depth_max: float
    feed: float | None = None


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
