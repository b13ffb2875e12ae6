"""The truth behind the three sample scans: logs from the yard of an invented mill, "Alder Fold"."""

from __future__ import annotations

import numpy as np

from .logs import Array, Stub, TrueLog, Wave, direction
from .scans import Scan, Yard, simulate_scan

SEED = 20417

_WALNUT = {"spiral": 0.0, "pith_radius": 15.0}
_LOGS = {
    # nearly straight, the pith well off the centre
    "af-07": TrueLog(
        "af-07",
        1900.0,
        229.0,
        taper=7.0,
        waves=(Wave(2, 3.0, 0.7), Wave(3, 2.0, 2.1, 1e-4), Wave(5, 1.2, 0.4)),
        sweep=6.0,
        sweep_clock=1.1,
        bark=11.0,
        bark_waves=(Wave(2, 0.9, 0.3, 1e-3), Wave(3, 0.5, 1.0, -2e-3)),
        pith_butt=(-31.0, 22.0),
        pith_top=(-26.0, 25.0),
        butt_tilt=(0.035, -0.02),
        top_tilt=(-0.015, 0.03),
        trim_butt=30.0,
        trim_top=30.0,
        sapwood=24.0,
        **_WALNUT,
    ),
    # swept and oval, the butt flared, one branch stub
    "af-12": TrueLog(
        "af-12",
        2400.0,
        266.0,
        taper=11.0,
        flare=46.0,
        flare_reach=240.0,
        waves=(Wave(2, 15.0, 0.35, 4e-5), Wave(3, 2.5, 1.2), Wave(5, 9.0, 0.2, 0.0, 260.0)),
        sweep=38.0,
        sweep_clock=2.0,
        bark=12.5,
        bark_waves=(Wave(2, 1.0, 1.3, 1e-3), Wave(3, 0.6, 2.0, 2e-3)),
        pith_butt=(9.0, -12.0),
        pith_top=(4.0, -6.0),
        butt_tilt=(-0.02, 0.055),
        top_tilt=(0.04, 0.01),
        stubs=(Stub(1710.0, 5.3, 38.0, 45.0),),
        trim_butt=40.0,
        trim_top=30.0,
        sapwood=28.0,
        **_WALNUT,
    ),
    # slim, short, of even girth; the scan's own vertical is +y
    "af-15": TrueLog(
        "af-15",
        1200.0,
        156.0,
        taper=6.0,
        waves=(Wave(2, 2.4, 1.9), Wave(4, 1.0, 0.3)),
        sweep=5.0,
        sweep_clock=4.0,
        bark=8.5,
        bark_waves=(Wave(2, 0.7, 0.9, 1e-3),),
        pith_butt=(4.0, 6.0),
        pith_top=(7.0, 3.0),
        butt_tilt=(0.01, 0.03),
        top_tilt=(-0.05, -0.02),
        trim_butt=25.0,
        trim_top=25.0,
        sapwood=20.0,
        **_WALNUT,
    ),
}
_YARDS = {
    "af-07": Yard(66_000, 85.0, 1.8, 3.0, 37.0, 1.2, 4.0),
    "af-12": Yard(68_000, 90.0, 2.0, 3.6, 214.0, -1.8, 5.5, holes=4),
    "af-15": Yard(60_000, 75.0, 1.5, 2.2, 121.0, 0.8, 3.0, up="+y", holes=2),
}
NAMES = tuple(_LOGS)


def sample_truth(name: str) -> TrueLog:
    """The log behind one sample scan."""
    return _LOGS[name]


def sample_scan(name: str) -> Scan:
    """The sample scan itself, as it was made."""
    return simulate_scan(_LOGS[name], SEED + NAMES.index(name), _YARDS[name])


def arms(log: TrueLog, end: str) -> dict[str, float]:
    """Pith to bark along the plumb-and-level cross, facing that end. [mm]"""
    x, turn = (0.0, 1.0) if end == "butt" else (log.length, -1.0)
    names = ("up", "right", "down", "left")
    return {name: _to_bark(log, x, turn * k * np.pi / 2) for k, name in enumerate(names)}


def from_left_and_top(log: TrueLog, end: str) -> tuple[float, float]:
    """Pith by tape from the leftmost and the topmost point over bark, facing that end. [mm]"""
    x, left = (0.0, 1.0) if end == "butt" else (log.length, -1.0)
    clock = np.linspace(0, 2 * np.pi, 2880)
    at = np.full(len(clock), x)
    yz = log.centre(at) + log.over_bark_radius(at, clock)[:, None] * direction(clock)
    pith = log.pith(np.array(x))
    return float((left * (yz[:, 0] - pith[0])).max()), float((yz[:, 1] - pith[1]).max())


def _to_bark(log: TrueLog, x: float, clock: float) -> float:
    s = np.linspace(0, 3 * log.radius, 60001)
    yz = log.pith(np.array(x)) + s[:, None] * direction(clock)
    offset: Array = yz - log.centre(np.array(x))
    out = np.hypot(offset[:, 0], offset[:, 1])
    radius = log.over_bark_radius(np.full(len(s), x), np.arctan2(-offset[:, 0], offset[:, 1]))
    return float(s[np.argmax(out > radius)])
