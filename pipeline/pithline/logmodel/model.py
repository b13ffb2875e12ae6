"""The frozen log model in the log frame (docs/formats.md): mm, radians."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from pithline.geometry.splines import closed_places

Array = NDArray[np.float64]

CLOCK_SAMPLES = 72
"""Radii are held one each 5° of clock angle."""
LEAST_LENGTH_DOUBT = 1.0
"""No end is sawn so flat that its length is known better. [mm]"""


def clock_angles() -> Array:
    """The 72 clock angles at which radii are held. [rad]"""
    return np.arange(CLOCK_SAMPLES, dtype=np.float64) * (2.0 * np.pi / CLOCK_SAMPLES)


ROUND = closed_places(np.append(clock_angles(), 2.0 * np.pi))
"""Periodic splines through radii held at these."""


def clock_direction(clock: Array | float) -> Array:
    """Unit vectors e(θ) = (−sin θ, cos θ) in (y, z), shape (..., 2)."""
    clock = np.asarray(clock, dtype=float)
    return np.stack([-np.sin(clock), np.cos(clock)], axis=-1)


def clock_of(yz: Array) -> Array:
    """Clock angle of vectors (..., 2) in (y, z), in [0, 2π). [rad]"""
    return np.mod(np.arctan2(-yz[..., 0], yz[..., 1]), 2.0 * np.pi)


def length_doubt(stderr_length: float) -> float:
    """What to say after ± of a length: two standard errors, of a millimetre at least. [mm]"""
    return max(2.0 * stderr_length, LEAST_LENGTH_DOUBT)


@dataclass(frozen=True, slots=True)
class EndPlane:
    """An end as it was sawn: `point` (3,) where it meets the pith line, outward unit `normal` (3,)."""

    point: Array
    normal: Array


@dataclass(frozen=True, slots=True)
class SuspectedKnot:
    """A stub or swelling told from the bark; never silently a defect."""

    x: float
    clock: float
    diameter: float
    height: float


@dataclass(frozen=True, slots=True)
class FitFinding:
    """What the fit's judge found: its `kind` ("outline", "left out", "layers", "scatter", "girth", "drift", "butt"), at which station
    and clock angle, of what `size` [mm; of girth the part seen], and in `words`.
    """

    kind: str
    x: float
    clock: float
    size: float
    words: str


@dataclass(frozen=True, slots=True)
class LogModel:
    """One fitted log. n stations, at least one every 25 mm, that cover both end planes.

    Stations may begin a little before x = 0 and end a little after `length` so that end planes up to 4° off square
    lie within them. Radii are about `centre` (not the pith), shape (n, 72). Between samples: periodic cubic spline
    in clock angle, natural cubic spline in x.
    """

    x: Array  # (n,) mm
    centre: Array  # (n, 2) y, z
    pith: Array  # (n, 2)
    radius_over_bark: Array  # (n, 72)
    radius_under_bark: Array  # (n, 72)
    envelope: Array  # (n, 72)
    coverage: Array  # (n,) fraction of girth seen
    stderr_centre: Array  # (n,)
    stderr_pith: Array  # (n,)
    stderr_radius: Array  # (n, 72) of the under-bark radius, bark doubt included
    length: float
    butt: EndPlane
    top: EndPlane
    scan_to_log: Array  # (4, 4)
    suspected_knots: tuple[SuspectedKnot, ...] = ()
    removed: tuple[tuple[str, int], ...] = ()
    pith_assumed: bool = False
    bark_assumed: bool = False
    sapwood_thickness: float = 0.0
    sapwood_assumed: bool = False
    spiral: float = 0.0
    cautions: tuple[str, ...] = ()
    verdict: str = "sound"  # of the fit's judge: "sound" | "look here" | "scan again"
    findings: tuple[FitFinding, ...] = ()
    stderr_length: float = 0.0  # of both end planes as scanned; the scan's own scale is not in it
    _known: dict[int, CubicSpline] = field(init=False, default_factory=dict, repr=False, compare=False)

    @property
    def length_doubt(self) -> float:
        """What to say after ± of the length. [mm]"""
        return length_doubt(self.stderr_length)

    def splines(self, radii: Array) -> CubicSpline:
        """Natural cubic spline in x of any per-station values (n, ...).

        That of a table of the model's own is made once: it serves hundreds of stations, asked one by one.
        """
        own = (self.centre, self.pith, self.radius_over_bark, self.radius_under_bark, self.envelope)
        key = next((number for number, table in enumerate(own) if table is radii), None)
        if key is None:
            return CubicSpline(self.x, radii, axis=0, bc_type="natural")
        if key not in self._known:
            self._known[key] = CubicSpline(self.x, radii, axis=0, bc_type="natural")
        return self._known[key]


def radius_at(model: LogModel, radii: Array, x: Array, clock: Array) -> Array:
    """Radius about the centre at stations `x` and clock angles `clock` (broadcast together). [mm]

    `radii` is one of the model's (n, 72) tables. Periodic cubic spline in clock angle, natural in x.
    """
    x, clock = np.broadcast_arrays(np.asarray(x, float), np.asarray(clock, float))
    stations, back = np.unique(x, return_inverse=True)
    rows = model.splines(radii)(stations)
    pieces = ROUND.pieces(np.concatenate([rows, rows[:, :1]], axis=1).T)
    turned = np.mod(clock, 2.0 * np.pi)
    # coefficients: (4, 72, n_stations); evaluate each point on its own station's spline
    index = np.minimum((turned / (2.0 * np.pi / CLOCK_SAMPLES)).astype(int), CLOCK_SAMPLES - 1)
    step = turned - clock_angles()[index]
    station = back.reshape(x.shape)
    c = pieces[:, index, station]
    radius: Array = ((c[0] * step + c[1]) * step + c[2]) * step + c[3]
    return radius
