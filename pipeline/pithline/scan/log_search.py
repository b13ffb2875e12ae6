"""Find the one log in a scan: strays and ground taken away, lumps told apart, clutter counted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.errors import FitError
from pithline.scan.ground import GROUND_SKIN, GROUND_SPREADS, Ground, find_ground
from pithline.scan.no_log import LEAST_POINTS, LONGEST, NoLog, extents_of, is_log, refuse_whole_tree
from pithline.scan.normals import CELL, Patches, surface_patches
from pithline.scan.rough_log import FLUTED, ROUND, RoughLog, Roundness, rough_log
from pithline.scan.touching_logs import PartOfLump, part_touching_logs
from pithline.scan.voxels import Voxels, reduced, voxelise

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

CELLS = (30.0, 45.0, 65.0, 90.0)
"""Voxel sizes tried until half of the points have CROWD of them around: scans differ in density. [mm]"""
CELLS_OF_LOG = (0.105, 0.16, 0.23, 0.32)
"""And once a log is found, for it is looked at anew by its own size: a copy of another size is to lose the same points. [radii]"""
PATCH_OF_LOG, SKIN_OF_LOG = 0.07, 0.105
"""Size of its patches of surface, and how far above ground it begins. [radii]"""
CROWD = 40
MOST_POINTS = 400_000
"""Larger scans are thinned to means of small voxels."""
STRAY_SHARE = 0.008
"""Points with less company than this part of the usual are strays."""
LUMPS_TRIED, LUMP_SHARE = 8, 0.03
"""The largest lumps that may be logs, and the least part of all points that one holds."""
CLEAR_FIT = 0.8
"""Where less of a lump's bark than this lies on the log found in it, it may be several that touch."""
RIVAL = 0.12
"""A second lump is a log too if it looks like one and its radius² × length is this part of the first's."""


@dataclass(frozen=True, slots=True)
class FoundLog:
    """The log's lump of points (n, 3), its patches of surface, the rough log, the ground, counts of points removed."""

    points: Array
    patches: Patches
    rough: RoughLog
    ground: Ground | None
    removed: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class _Searched:
    """What a scan holds: points left of strays, which of them are `standing` and not ground, the logs among those, the ground, the count
    of strays.
    """

    crowd: Array
    standing: Mask
    logs: list[PartOfLump]
    ground: Ground | None
    strays: int

    @property
    def points(self) -> Array:
        """Left of strays and ground. (n, 3)"""
        points: Array = self.crowd[self.standing]
        return points


def find_log(points: Array, pick: int | None = None, up: Array | None = None) -> FoundLog:
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
    searched = _search(points, up)
    logs = searched.logs
    if pick is None and len(logs) > 1:
        sizes = ", ".join(f"{log.rough.length:.0f} mm long and {2 * log.rough.size:.0f} mm thick" for log in logs)
        raise FitError(
            f"the scan shows {len(logs)} logs ({sizes}); choose one with --pick N, counted in that order; --list draws "
            "them."
        )
    if pick is not None and not 1 <= pick <= len(logs):
        raise FitError(f"log {pick} was picked but the scan shows {len(logs)}; pick a number from 1 to {len(logs)}.")
    searched, log = _by_own_size(searched, logs[(pick or 1) - 1])
    counts = (
        ("strays", searched.strays),
        ("ground", int((~searched.standing).sum())),
        ("clutter", int((~log.member).sum())),
    )
    return FoundLog(searched.points[log.member], log.patches, log.rough, searched.ground, counts)


def list_logs(points: Array, up: Array | None = None) -> list[tuple[Array, RoughLog]]:
    """Every log among points (n, 3) in mm, by falling size as `pick` counts them: its points (k, 3) and rough form.

    Raises
    ------
    FitError
        If there is none.
    """
    searched = _search(points, up)
    return [(searched.points[log.member], log.rough) for log in searched.logs]


def _search(points: Array, up: Array | None) -> _Searched:
    """Strays and ground taken away, and logs found in what is left."""
    if len(points) < LEAST_POINTS:
        raise FitError(f"the scan holds only {len(points)} points; a log needs some thousands: scan it again.")
    refuse_whole_tree(points, up)
    crowded, cell = _without_strays(points, CELLS)
    # thinned only now: strays are few among all points, but each would be a voxel of its own
    left = reduced(points[crowded], MOST_POINTS)
    ground = find_ground(left, up)
    standing = _standing(left, ground, GROUND_SKIN)
    if standing.sum() < LEAST_POINTS:
        raise FitError("the scan shows ground but no log on it: scan the log from both sides and both ends.")
    upright = left[standing]
    voxels = voxelise(upright, cell)
    logs = _logs(upright, voxels, ROUND, CELL) or _logs(upright, voxels, FLUTED, CELL)
    if not logs:
        raise FitError(_likeliest(upright, voxels).words)
    return _Searched(left, standing, logs, ground, int((~crowded).sum()))


def _by_own_size(searched: _Searched, log: PartOfLump) -> tuple[_Searched, PartOfLump]:
    """The search done anew by the size of a log that was found, and the log itself; as it was where that finds other logs."""
    size = log.rough.size
    crowded, cell = _without_strays(searched.crowd, tuple(size * share for share in CELLS_OF_LOG))
    left = searched.crowd[crowded]
    standing = _standing(left, searched.ground, SKIN_OF_LOG * size)
    upright = left[standing]
    if len(upright) < LEAST_POINTS:
        return searched, log
    voxels, patch = voxelise(upright, cell), PATCH_OF_LOG * size
    logs = _logs(upright, voxels, ROUND, patch) or _logs(upright, voxels, FLUTED, patch)
    if len(logs) != len(searched.logs):
        return searched, log
    middle = log.patches.means.mean(axis=0)
    again = min(logs, key=lambda one: float(np.linalg.norm(one.patches.means.mean(axis=0) - middle)))
    strays = searched.strays + int((~crowded).sum())
    return _Searched(left, standing, logs, searched.ground, strays), again


def _standing(points: Array, ground: Ground | None, skin: float) -> Mask:
    """Which points (n, 3) are none of the ground, which reaches up to `skin` over its plane. [mm]"""
    if ground is None:
        return np.ones(len(points), bool)
    standing: Mask = ground.height(points) > max(skin, GROUND_SPREADS * ground.spread)
    return standing


def _without_strays(points: Array, cells: tuple[float, ...]) -> tuple[Mask, float]:
    """Which points have company, and which of the voxel sizes `cells` [mm] that was judged at."""
    for cell in cells:
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


def _lumps(points: Array, voxels: Voxels) -> list[Mask]:
    """The largest lumps of points (n, 3) that may be logs, as masks over them."""
    lump = voxels.lumps()[voxels.of]
    names, counts = np.unique(lump, return_counts=True)
    largest = names[np.argsort(-counts, kind="stable")][:LUMPS_TRIED]
    members = [lump == name for name in largest]
    return [member for member in members if member.sum() >= max(LEAST_POINTS, LUMP_SHARE * len(points))]


def _logs(points: Array, voxels: Voxels, roundness: Roundness, patch: float) -> list[PartOfLump]:
    """Lumps that look like logs, or parts of them that do, by falling size; members are masks over all points (n,).

    `patch` is the size of a patch of surface. [mm]
    """
    found: list[PartOfLump] = []
    for member in _lumps(points, voxels):
        parts = _logs_of_lump(points[member], roundness, patch)
        found += [replace(log, member=_within(member, log.member)) for log in parts]
    found.sort(key=lambda log: -(log.rough.size**2) * log.rough.length)
    largest = found[0].rough.size ** 2 * found[0].rough.length if found else 0.0
    return [log for log in found if log.rough.size**2 * log.rough.length > RIVAL * largest]


def _logs_of_lump(points: Array, roundness: Roundness, patch: float) -> list[PartOfLump]:
    """The log that a lump of points (n, 3) is, or those it holds side by side, or none."""
    patches = surface_patches(points, patch)
    rough = rough_log(patches, roundness)
    whole = []
    if rough is not None and is_log(rough):
        whole = [PartOfLump(np.ones(len(points), bool), patches, rough)]
    if roundness == ROUND and (rough is None or rough.fit < CLEAR_FIT):
        parts = [part for part in part_touching_logs(points, patches, patch) if is_log(part.rough)]
        whole = parts if len(parts) > 1 else whole
    return whole


def _likeliest(points: Array, voxels: Voxels) -> NoLog:
    """What of points (n, 3) that hold no log came nearest to one."""
    members = _lumps(points, voxels)
    if not members:
        return NoLog(extents_of(points), None)
    tried = [
        NoLog(extents_of(own), rough_log(surface_patches(own), FLUTED)) for own in (points[one] for one in members)
    ]
    found = [one for one in tried if one.rough is not None and one.rough.length < LONGEST]
    return max(found, key=lambda one: one.rough.fit if one.rough else 0.0) if found else tried[0]


def _within(member: Mask, part: Mask) -> Mask:
    """A mask over all points from one over the members alone."""
    out = np.zeros(len(member), bool)
    out[np.flatnonzero(member)[part]] = True
    return out
