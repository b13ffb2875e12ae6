"""Find the one log in a scan: strays and ground taken away, lumps told apart, clutter counted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.errors import FitError
from pithline.scan.ground import Ground, find_ground
from pithline.scan.normals import Patches, surface_patches
from pithline.scan.rough_log import Rough, rough_log
from pithline.scan.touching_logs import parted
from pithline.scan.voxels import Voxels, reduced, voxelise

Array = NDArray[np.float64]

CELLS = (30.0, 45.0, 65.0, 90.0)
"""Voxel sizes tried until half of the points have CROWD of them around: scans differ in density. [mm]"""
CROWD = 40
MOST_POINTS = 400_000
"""Larger scans are thinned to means of small voxels."""
STRAY_SHARE = 0.008
LEAST_FIT, LEAST_GIRTH = 0.45, 0.25
CLEAR_FIT = 0.8
"""Where less of a lump's bark than this lies on the log found in it, it may be several that touch."""
RIVAL = 0.12
"""A second lump is a log too if it looks like one and its radius² × length is this part of the first's."""


@dataclass(frozen=True, slots=True)
class Found:
    """The log's lump of points (n, 3), its patches of surface, the rough log, the ground, counts of points removed."""

    points: Array
    patches: Patches
    rough: Rough
    ground: Ground | None
    removed: tuple[tuple[str, int], ...]


def find_log(points: Array, pick: int | None = None, up: Array | None = None) -> Found:
    """The log among points (n, 3) in mm, in any order.

    Parameters
    ----------
    pick : int or None
        Which of several logs, counted from 1 by falling size.
    up : (3,) array or None
        The vertical, where it is known.

    Raises
    ------
    FitError
        If there is no log, or several and none is picked.
    """
    left, logs, ground, (strays, on_ground) = _search(points, up)
    if pick is None and len(logs) > 1:
        sizes = ", ".join(f"{rough.length:.0f} mm long and {2 * rough.size:.0f} mm thick" for _, _, rough in logs)
        raise FitError(
            f"the scan shows {len(logs)} logs ({sizes}); choose one with --pick N, counted in that order; --list draws "
            "them."
        )
    if pick is not None and not 1 <= pick <= len(logs):
        raise FitError(f"log {pick} was picked but the scan shows {len(logs)}; pick a number from 1 to {len(logs)}.")
    member, patches, rough = logs[(pick or 1) - 1]
    counts = (("strays", strays), ("ground", on_ground), ("clutter", int((~member).sum())))
    return Found(left[member], patches, rough, ground, counts)


def list_logs(points: Array, up: Array | None = None) -> list[tuple[Array, Rough]]:
    """Every log among points (n, 3) in mm, by falling size as `pick` counts them: its points (k, 3) and rough form.

    Raises
    ------
    FitError
        If there is none.
    """
    left, logs, _, _ = _search(points, up)
    return [(left[member], rough) for member, _, rough in logs]


def _search(
    points: Array, up: Array | None
) -> tuple[Array, list[tuple[NDArray[np.bool_], Patches, Rough]], Ground | None, tuple[int, int]]:
    """Points left of strays and ground, the logs among them, the ground, and counts of strays and of ground."""
    if len(points) < 300:
        raise FitError(f"the scan holds only {len(points)} points; a log needs some thousands: scan it again.")
    crowded, cell = _without_strays(points)
    # thinned only now: strays are few among all points, but each would be a voxel of its own
    left = reduced(points[crowded], MOST_POINTS)
    ground = find_ground(left, up)
    standing = np.ones(len(left), bool)
    if ground is not None:
        standing = ground.height(left) > max(30.0, 4.0 * ground.spread)
        if standing.sum() < 300:
            raise FitError("the scan shows ground but no log on it: scan the log from both sides and both ends.")
    left = left[standing]
    logs = _logs(left, voxelise(left, cell))
    if not logs:
        raise FitError(
            "no log was found in the scan: nothing in it is long and round enough. Check that the scan shows one whole "
            "log from both sides, and that scan_units on the card is right."
        )
    return left, logs, ground, (int((~crowded).sum()), int((~standing).sum()))


def _without_strays(points: Array) -> tuple[NDArray[np.bool_], float]:
    """Which points have company, and the voxel size at which that was judged."""
    for cell in CELLS:
        voxels = voxelise(points, cell)
        crowd = voxels.crowd()[voxels.of]
        middle = float(np.median(crowd))
        if middle >= CROWD:
            break
    # strays fill space evenly: how many of them meet by chance follows from the number of lonely points
    lonely = int((crowd <= max(8.0, 0.1 * middle)).sum())
    space = float(np.prod((voxels.cell.max(0) - voxels.cell.min(0) + 1).astype(float)))
    met = 27.0 * lonely / space
    return crowd > max(3.0, STRAY_SHARE * middle, 1.0 + met + 3.0 * np.sqrt(met + 0.4)), cell


def _logs(points: Array, voxels: Voxels) -> list[tuple[NDArray[np.bool_], Patches, Rough]]:
    """Lumps that look like logs, by falling size: member mask (n,), patches, rough log."""
    lump = voxels.lumps()[voxels.of]
    names, counts = np.unique(lump, return_counts=True)
    found = []
    for name in names[np.argsort(-counts, kind="stable")][:8]:
        member = lump == name
        if member.sum() < max(300, 0.03 * len(points)):
            continue
        patches = surface_patches(points[member])
        rough = rough_log(patches)
        whole = [(np.ones(member.sum(), bool), patches, rough)] if rough is not None and _is_log(rough) else []
        if rough is None or rough.fit < CLEAR_FIT:
            parts = [part for part in parted(points[member], patches) if _is_log(part[2])]
            whole = parts if len(parts) > 1 else whole
        for part, own, log in whole:
            found.append((log.size**2 * log.length, _within(member, part), own, log))
    found.sort(key=lambda one: -one[0])
    return [(member, patches, rough) for bulk, member, patches, rough in found if bulk > RIVAL * found[0][0]]


def _within(member: NDArray[np.bool_], part: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A mask over all points from one over the members alone."""
    out = np.zeros(len(member), bool)
    out[np.flatnonzero(member)[part]] = True
    return out


def _is_log(rough: Rough) -> bool:
    long_enough = rough.length > 0.8 * 2 * rough.size
    return rough.fit > LEAST_FIT and rough.girth > LEAST_GIRTH and long_enough
