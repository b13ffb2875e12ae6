"""Drift between the two sides of a scan: the flanks held against the rims of the end faces, each seen in one go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.robust import TUKEY_WIDTH, reweighted, spread, tukey
from pithline.logmodel.face_rims import face_rim, seen_sectors
from pithline.logmodel.model import clock_angles
from pithline.logmodel.surface import Surface
from pithline.scan.end_faces import ScannedFace

Array = NDArray[np.float64]

SEAM = 0.25
"""The two sides blend within about this sine of 12 o'clock. Common practice: a phone's software mixes passes there."""
LEAST_SECTORS = 14
"""Sectors of rims that a drift needs to be told."""
SURE = 2.4
"""Standard errors by which a drift must stand out."""
LONG_TAILS = 1.4
"""Errors of rims are not normal: on 88 generated logs the drift was this much farther off than their spread says."""
LEAST = 1.5
"""Drifts smaller than this are not told. [mm]"""
EACH_SURE = 1.0
"""And by which each of two faces must tell of it by itself."""
ODD_RIM = 0.12
"""Rims farther off than this are dirt, or no rims. [radii]"""
LEAST_SPREAD = 0.3
"""Rims are not believed to agree better than this. [mm]"""


@dataclass(frozen=True, slots=True)
class Drift:
    """How far the sides of the scan at 3 and 9 o'clock lie apart in height, with its standard error. [mm]

    Drift across is left out: it widens or narrows the log, and the flare of a butt looks alike.
    """

    apart: float
    stderr: float

    @property
    def significant(self) -> bool:
        """Whether it stands out of its error."""
        return abs(self.apart) > max(LEAST, SURE * self.stderr)

    @property
    def caution(self) -> str:
        """What to say of a significant drift."""
        return (
            f"The two sides of the scan lie {abs(self.apart):.0f} ± {2.0 * self.stderr:.0f} mm apart in height: the "
            "scanner drifted on its way round. Both were moved to meet the end faces; drift across the log cannot be told. "
            "Where it matters scan again, slowly, with more overlap over the top and round the ends."
        )

    def taken_out_of(self, points: Array, surface: Surface) -> Array:
        """Bark points (n, 3) as they would lie without it."""
        moved = points.copy()
        moved[:, 2] -= self.apart * _side(surface.residuals(points)[1])
        return moved

    def added_to(self, stderr: Array) -> Array:
        """Standard errors (n, 72) of the radii with what drift may still add.

        A significant one was undone but for its own error, and as much may lie across the log; of another, what its own error
        does not explain may be there.
        """
        clock = clock_angles()
        up, across = 0.5 * np.abs(np.cos(clock)), 0.5 * np.abs(np.sin(clock))
        rest = np.sqrt(max(self.apart**2 - self.stderr**2, 0.0))
        widened: Array = np.hypot(stderr, np.hypot((self.stderr if self.significant else rest) * up, rest * across))
        return widened


def _side(clock: Array) -> Array:
    """½ on the side of 3 o'clock, −½ on that of 9 o'clock."""
    side: Array = 0.5 * np.tanh(np.sin(clock) / SEAM)
    return side


def two_sides_drift(points: Array, surface: Surface, faces: tuple[ScannedFace, ScannedFace]) -> Drift | None:
    """The drift, or None where the rims of the faces do not tell, or do not agree.

    Parameters
    ----------
    points : (n, 3) array
        The log's points, faces included, in the log frame. [mm]
    """
    told = [one for face in faces if face.seen and (one := _told_by(points, surface, face)) is not None]
    if not told or sum(len(values) for _, values in told) < LEAST_SECTORS:
        return None
    alone = [_solved(design, values) for design, values in told if len(values) >= LEAST_SECTORS // 2]
    width = 2 + 3 * len(told)
    rows = []
    for number, (design, _) in enumerate(told):
        # the rim may lie a little in, and the fit's centre a little off: both are the face's own
        own = np.zeros((len(design), width))
        own[:, :2], own[:, 2 + 3 * number : 5 + 3 * number] = design[:, :2], design[:, 2:]
        rows.append(own)
    both = _solved(np.concatenate(rows), np.concatenate([values for _, values in told]))
    agree = all(one.apart * both.apart > 0 and abs(one.apart) > EACH_SURE * one.stderr for one in alone)
    return both if agree else Drift(both.apart, max(both.stderr, abs(both.apart) / SURE))


def _told_by(points: Array, surface: Surface, face: ScannedFace) -> tuple[Array, Array] | None:
    """What a face's rim tells where girth was seen: design (k, 5), drift across and in height and the face's own, and values (k,)."""
    rim = face_rim(points, surface, face)
    # where the girth was hidden the surface follows the rim itself
    seen = seen_sectors(rim, surface, face)
    if seen.sum() < 6:
        return None
    seen &= np.abs(rim.over - np.median(rim.over[seen])) < ODD_RIM * surface.radius
    clock, over = rim.clock[seen], rim.over[seen]
    side = _side(clock)
    design = [-np.sin(clock) * side, np.cos(clock) * side, np.ones(len(clock)), np.cos(clock), np.sin(clock)]
    return np.column_stack(design), -over


def _solved(design: Array, values: Array) -> Drift:
    """Drift across and in height, and each face's own (k, 5 or 8), by reweighted least squares (Tukey's biweight).

    The error is from the rms of what is left, for its tails are long.
    """

    def normal_matrix(weight: Array) -> Array:
        matrix: Array = (design * weight[:, None]).T @ design + 1e-6 * np.eye(design.shape[1])
        return matrix

    def solve(found: Array, miss: Array, weight: Array) -> Array:
        better = np.linalg.solve(normal_matrix(weight), (design * weight[:, None]).T @ values)
        return np.asarray(better, np.float64)

    def weigh(miss: Array, _: Array | None) -> Array:
        return tukey(miss, TUKEY_WIDTH * max(spread(miss), LEAST_SPREAD))

    start = solve(np.zeros(design.shape[1]), values, np.ones(len(values)))
    fitted = reweighted(start, lambda found: values - design @ found, weigh, solve, rounds=9)
    assert fitted is not None
    weight = weigh(fitted.miss, None)
    spare = max(float(weight.sum()) - np.linalg.matrix_rank(design), 1.0)
    rms = max(float(np.sqrt((weight * fitted.miss**2).sum() / spare)), LEAST_SPREAD)
    inverse = np.linalg.inv(normal_matrix(fitted.weight))
    return Drift(float(fitted.found[1]), LONG_TAILS * rms * float(np.sqrt(inverse[1, 1])))
