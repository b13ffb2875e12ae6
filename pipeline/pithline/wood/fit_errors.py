"""How a fit errs: which errors of a surface go together round and along a log, and how the pith hangs on them.

A model states one standard error for each place of its surface and for its pith. A log that the fit cannot tell from the fitted one
errs by so much at each place, but not there alone: `ErrorShapes` are the smooth shapes such errors are made of. What plans are judged
on (`plan.evaluate.sampling`) and what an appraisal draws (`yard.appraisal.drawn_logs`) are made of the same ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.model import clock_direction
from pithline.wood.field import WoodField
from pithline.wood.kernels import CLOCKS

Array = NDArray[np.float64]

LOBES = (0.48, 0.57, 0.35, 0.32, 0.28, 0.22, 0.17, 0.16, 0.14, 0.10)
"""How the error at a place is shared among lobes of the section: size, shift, oval, three lobes and so on; their squares add up to 1.

Measured on the covariance of 20 fits of half-scans, 8 of logs as uneven as real stems and 12 of four other kinds: the mean correlation
of errors by how far apart they lie round the girth. From log to log the squares differ by a few hundredths (docs/fit.md).
"""
REACH = 3.0
"""How far along the log errors go together: a Gaussian process (Matérn 3/2) of this reach. [radii] From the same fits: their correlation
falls to 0.8 within 1 to 2 radii and to a half within 2 to 4."""
ALONG = 10
"""Shapes along the log that such a process is made of."""
MOST_HUNG = 2.0
"""A fit's covariance moves the pith by up to so much more than these shapes do; what is stated beyond that is an error of marks."""


@dataclass(frozen=True, slots=True)
class ErrorShapes:
    """Shapes of a unit error of the surface: `waves` (h, 2, 361) round the girth, `along` (k, m) the log, and `lobes` (h,).

    A draw is coefficients (h, 2, m), independent unit normals. `t` (k,) is 0 at the first station and 1 at the last.
    """

    waves: Array
    along: Array
    lobes: Array
    t: Array

    @property
    def size(self) -> tuple[int, int, int]:
        """Of the coefficients of a draw."""
        return len(self.lobes), 2, self.along.shape[1]

    def surface(self, coefficients: Array) -> Array:
        """An error of unit size at each station and clock angle. (k, 361)"""
        # one sum after the other: over both at once it takes twenty times as long
        at_stations = np.einsum("hwm,km->khw", coefficients * self.lobes[:, None, None], self.along)
        error: Array = np.einsum("khw,hwc->kc", at_stations, self.waves)
        return error

    def bow(self, moved: Array) -> Array:
        """How far a surface moved by (k, 361) takes the pith along, off the line of its ends. (k, 2) [mm]

        The pith keeps its offset from the centre of the section, and at the ends it is marked.
        """
        centre = moved[:, :-1] @ clock_direction(_clocks()[:-1]) * (2.0 / CLOCKS)
        bow: Array = centre - np.outer(1.0 - self.t, centre[0]) - np.outer(self.t, centre[-1])
        return bow

    def bow_doubt(self, doubt: Array) -> Array:
        """Standard deviation of the bow of surfaces whose doubt is (k, 361), per axis. (k,) [mm]"""
        e = clock_direction(_clocks()[:-1]) * (2.0 / CLOCKS)
        # (k, 2, h, w): the centre moved by each wave; along the log by each shape
        by_wave = np.einsum("kc,ca,hwc->kahw", doubt[:, :-1], e, self.waves[..., :-1], optimize=True)
        by_wave *= self.lobes[:, None]
        centre = by_wave[..., None] * self.along[:, None, None, None, :]
        t = self.t[:, None, None, None, None]
        bow = centre - (1.0 - t) * centre[:1] - t * centre[-1:]
        spread: Array = np.sqrt((bow**2).sum(axis=(2, 3, 4)).mean(axis=1))
        return spread


def _clocks() -> Array:
    return np.arange(CLOCKS + 1, dtype=np.float64) * (2.0 * np.pi / CLOCKS)


def clock_waves(lobes: int) -> Array:
    """Cosine and sine of each number of lobes from 0 on; of 0 the sine is nothing. (lobes, 2, 361)"""
    turn = np.arange(lobes)[:, None] * _clocks()
    return np.stack([np.cos(turn), np.sin(turn)], axis=1)


def error_shapes(field: WoodField, lobes: Array | tuple[float, ...] = LOBES) -> ErrorShapes:
    """The shapes of the errors of one log's surface; `lobes` are scaled so that their squares add up to 1."""
    k = len(field.pith)
    reach = REACH * float(np.sqrt((field.radius**2).mean()))
    away = np.sqrt(3.0) * field.dx * np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / reach
    values, vectors = np.linalg.eigh((1.0 + away) * np.exp(-away))
    along = vectors[:, : -ALONG - 1 : -1] * np.sqrt(np.maximum(values[: -ALONG - 1 : -1], 0.0))
    along *= np.where(along[0] < 0.0, -1.0, 1.0)  # an eigenvector has no sign of its own
    # what is left out, short waves, is given to those kept, so that the error at each place is the stated one
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    share = np.asarray(lobes, dtype=np.float64)
    share = share / max(float(np.linalg.norm(share)), 1e-12)
    return ErrorShapes(clock_waves(len(share)), np.ascontiguousarray(along), share, np.linspace(0.0, 1.0, k))


def even_shapes(field: WoodField, lobes: Array) -> ErrorShapes:
    """Shapes that stay or change evenly from end to end: of a log known by tape, whose section nobody has seen.

    The root mean square along the log is 1; `lobes` (h,) have squares that add up to 1.
    """
    t = np.linspace(0.0, 1.0, len(field.pith))
    along = np.column_stack([np.ones_like(t), 2.0 * t - 1.0]) / np.sqrt(1.0 + 1.0 / 3.0)
    return ErrorShapes(clock_waves(len(lobes)), along, np.asarray(lobes, dtype=np.float64), t)


@dataclass(frozen=True, slots=True)
class PithParts:
    """The doubt of a pith in two: the part of the surface's `bow` that is taken along (k,), and weights (k, 2) of two unit normals
    for the line of its marks. [mm]
    """

    bow: Array
    line: Array


def pith_parts(shapes: ErrorShapes, doubt: Array, pith_doubt: Array) -> PithParts:
    """Part the stated doubt of a pith (k,) into what hangs on a surface whose doubt is (k, 361), and the rest: that of its marks.

    What is stated beyond two marks that err each by itself hangs on the surface, as far as that can move so much; all together it is
    what is stated.
    """
    bow, t = shapes.bow_doubt(doubt), shapes.t
    marks = np.hypot((1.0 - t) * pith_doubt[0], t * pith_doubt[-1])
    wanted = np.sqrt(np.maximum(pith_doubt**2 - marks**2, 0.0))
    part = np.minimum(wanted / np.maximum(bow, 1e-9), MOST_HUNG)
    rest = np.sqrt(np.maximum(pith_doubt**2 - (part * bow) ** 2, 0.0))
    return PithParts(part, _line(rest, t))


def _line(doubt: Array, t: Array) -> Array:
    """Weights (k, 2) of two unit normals, whose sum is a line from one end to the other as doubtful at each place as is stated.

    How far its ends go together is told by its middle: of two marks that err each by itself it is known better than either.
    """
    low, middle, high = doubt[0], doubt[len(doubt) // 2], doubt[-1]
    both = 2.0 * low * high
    together = np.clip((4.0 * middle**2 - low**2 - high**2) / both, 0.0, 1.0) if both > 0.0 else 1.0
    ends = np.array([[low, 0.0], [high * together, high * np.sqrt(1.0 - together**2)]])
    line = np.column_stack([1.0 - t, t]) @ ends
    size = np.linalg.norm(line, axis=1, keepdims=True)
    even = np.where(size > 1e-9, line / np.maximum(size, 1e-9), np.array([1.0, 0.0]))
    weights: Array = even * doubt[:, None]
    return weights
