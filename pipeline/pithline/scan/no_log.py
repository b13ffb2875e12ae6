"""What a scan holds that is no log, said so that its owner knows what to do; whole trees told within seconds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import FitError
from pithline.scan.ground import GROUND_SKIN, GROUND_SPREADS, find_ground
from pithline.scan.normals import axis_direction, surface_patches
from pithline.scan.rough_log import RoughLog
from pithline.scan.voxels import voxelise

Array = NDArray[np.float64]

LONGEST = 12_500.0
"""No log is longer: 40 feet and some trim go on a lorry. Common practice, no source. [mm]"""
DEEP = 2_500.0
"""What is longer than that and so deep both ways is a tree with its crown, not a row of logs. [mm]"""
SAMPLE = 60_000
"""Points that a whole tree is told from."""
SAMPLE_CELL = 200.0
"""They hang together over gaps of this. [mm]"""
LARGEST_PART = 0.5
"""A lump that holds this part of what stands on the ground is what was scanned."""
LEAST_FIT, LEAST_GIRTH = 0.45, 0.25
"""Least parts of a lump's bark that lies on its circles, and of the girth that was seen."""
LEAST_LENGTH = 0.8
"""A log is longer than this many times its own thickness."""
LEAST_POINTS = 300

CUT_OUT = "Cut the log out of the scan, with some of the ground round it and nothing else, and try again."


def is_log(rough: RoughLog) -> bool:
    """Whether a rough form may be a log's."""
    long_enough = rough.length > LEAST_LENGTH * 2 * rough.size
    return rough.fit > LEAST_FIT and rough.girth > LEAST_GIRTH and long_enough and rough.length < LONGEST


@dataclass(frozen=True, slots=True)
class NoLog:
    """A lump that was taken for no log: its points' extents (3,), longest first, and its rough form if it has one. [mm]"""

    extents: Array
    rough: RoughLog | None

    @property
    def words(self) -> str:
        """What it is, why it was not taken, what to do."""
        rough = self.rough
        if float(self.extents[0]) > LONGEST:
            return f"the scan holds one thing {self.extents[0] / 1000.0:.0f} m long, which is a whole tree or more than a log. {CUT_OUT}"
        if rough is None:
            size = " × ".join(f"{one / 1000.0:.1f}" for one in self.extents)
            return (
                f"no log was found in the scan: the largest thing in it, {size} m, has no run of round sections. {CUT_OUT} Check that it "
                "was scanned from both sides, and the unit of the scan."
            )
        size = f"{rough.length:.0f} mm long and {2 * rough.size:.0f} mm thick"
        found = f"no log was found in the scan: the likeliest thing in it is {size}, but "
        if rough.fit <= LEAST_FIT:
            return (
                f"{found}only {100 * rough.fit:.0f} % of what was scanned of it lies on round sections ({100 * LEAST_FIT:.0f} % would do): "
                f"branches, ivy, deep flutes or several stems. {CUT_OUT}"
            )
        if rough.girth <= LEAST_GIRTH:
            return (
                f"{found}only {100 * rough.girth:.0f} % of its girth was seen ({100 * LEAST_GIRTH:.0f} % would do). Scan both sides "
                "and both ends."
            )
        return f"{found}that is too short for a log. Check that the whole log was scanned, and the unit of the scan."


def extents_of(points: Array) -> Array:
    """Extents of points (n, 3) along their principal axes, longest first, but for the outermost of them. (3,)"""
    away = points - points.mean(axis=0)
    turned = away @ np.linalg.eigh(away.T @ away)[1]
    low, high = np.quantile(turned, [0.005, 0.995], axis=0)
    extents: Array = np.sort(high - low)[::-1]
    return extents


def refuse_whole_tree(points: Array, up: Array | None) -> None:
    """Refuse scan points (n, 3) of which the greater part is one thing longer than any log, before much time is spent on them.

    A row of logs is told from a tree by its bark, which runs across the row.

    Raises
    ------
    FitError
    """
    sample = points[:: max(1, len(points) // SAMPLE)]
    if float(np.ptp(np.quantile(sample, [0.01, 0.99], axis=0), axis=0).max()) < LONGEST:
        return
    ground = find_ground(sample, up)
    if ground is not None:
        sample = sample[ground.height(sample) > max(GROUND_SKIN, GROUND_SPREADS * ground.spread)]
    if len(sample) < LEAST_POINTS:
        return
    voxels = voxelise(sample, SAMPLE_CELL)
    lump = voxels.lumps()[voxels.of]
    counts = np.bincount(lump)
    own = sample[lump == int(counts.argmax())]
    extents = extents_of(own)
    if counts.max() < LARGEST_PART * len(sample) or extents[0] < LONGEST:
        return
    along = own @ axis_direction(surface_patches(own, SAMPLE_CELL / 2.0).normals)
    if float(np.ptp(np.quantile(along, [0.005, 0.995]))) > LONGEST or extents[2] > DEEP:
        raise FitError(NoLog(extents, None).words)
