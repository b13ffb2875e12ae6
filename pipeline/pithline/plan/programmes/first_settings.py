"""First settings of a log: what each is worth with the halves that it leaves, and the best of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.programmes.fan_runs import FanGrid
from pithline.plan.programmes.grid import Grid
from pithline.plan.programmes.halves import bounded_slabs, face_index, stack_table

Array = NDArray[np.float64]
KEPT_OF_ROLL = 4
"""First settings of one roll that are held, each with other faces of its halves."""


@dataclass(frozen=True, slots=True)
class First:
    """A first setting: roll, faces as cells (low, high) of its stack, corners of the halves under and over it, net value of all."""

    roll: int
    span: tuple[int, int]
    under: int
    over: int
    promise: float


def first_settings(
    g: FanGrid, grid: Grid, corners: Array, halves: Array, charge: float, locked: tuple[bool, float | None]
) -> tuple[Array, tuple[First, ...]]:
    """What first settings promise with all that follows; and the best of them, one for each roll and pair of half faces, best first.

    Parameters
    ----------
    g : FanGrid
        Slab values of the log, for the mill's kerf.
    grid : Grid
        Rolls and depths.
    corners : (c,) array
        Offsets of the halves' faces. [mm]
    halves : (turns, c) array
        What halves are worth.
    charge : float
        Of a setting.
    locked : (bool, float or None)
        Whether the first setting keeps the grid's roll 0; the thickness of its one slab, or None. [mm]

    Returns
    -------
    promises : (rolls, depths, depths) array
        By roll, and by the cells where the stack begins and ends; −∞ where these hold none.
    firsts : tuple of First
    """
    out: list[First] = []
    promises: list[Array] = []
    under, over = half_faces(g, grid, corners)
    held_roll, only = locked
    for roll in [0] if held_roll else range(grid.rolls):
        slab = bounded_slabs(g, roll, 0, -g.half_across)
        stack = stack_table(slab, g.cells, g.kerf_cells) if only is None else _single(g, slab, only)
        low = np.where(under >= 0, halves[(roll + grid.rolls) % (2 * grid.rolls)][under], 0.0)
        high = np.where(over >= 0, halves[roll][over], 0.0)
        holds = np.triu(np.ones_like(stack, bool), g.cells.min())
        if only is not None:
            holds = np.eye(len(stack), k=int(g.cells[in_menu(g, only)]), dtype=bool)
        promise = np.where(holds, stack - charge + low[:, None] + high[None, :], -np.inf)
        promises.append(promise)
        found: dict[tuple[int, int], First] = {}
        for place in np.argsort(-promise, axis=None, kind="stable"):
            l, h = (int(v) for v in np.unravel_index(place, promise.shape))
            if promise[l, h] <= 0.0 or len(found) == KEPT_OF_ROLL:
                break
            key = int(under[l]), int(over[h])
            if key not in found:
                found[key] = First(roll, (l, h), *key, float(promise[l, h]))
        out += found.values()
    return np.array(promises), tuple(sorted(out, key=lambda one: (-one.promise, one.roll, one.span)))


def half_faces(g: FanGrid, grid: Grid, corners: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """By cell of a first setting's stack, the corners of the half under it where it begins there, and of that over it where it ends."""
    depths = (np.arange(len(grid.depths)) - g.half_depth) * grid.depth_step
    gap = g.kerf_cells * grid.depth_step
    under = np.array([face_index(corners, -(depth - gap)) for depth in depths])
    return under, np.array([face_index(corners, depth + gap) for depth in depths])


def by_halves(promises: Array, under: NDArray[np.intp], over: NDArray[np.intp]) -> Array:
    """What first settings promise at most by roll and the halves that they leave: (rolls, halves under, halves over).

    Of those that leave the same halves the one whose stack has the most room is worth as much as any, whatever the prices. Halves are
    numbered as their faces follow each other from cell to cell.

    Parameters
    ----------
    promises : (rolls, depths, depths) array
        As `first_settings` has them.
    under, over : (depths,) arrays
        As `half_faces` has them.
    """
    lows, highs = _runs(under), _runs(over)
    out: Array = np.maximum.reduceat(np.maximum.reduceat(promises, lows, axis=1), highs, axis=2)
    return out


def best_span(
    promises: Array, under: NDArray[np.intp], over: NDArray[np.intp], number: int
) -> tuple[int, tuple[int, int]]:
    """The roll and the cells of the first setting that promises most of those with one number among `by_halves`."""
    lows, highs = _runs(under), _runs(over)
    roll, i, j = (int(v) for v in np.unravel_index(number, (len(promises), len(lows), len(highs))))
    l, h = int(lows[i]), int(highs[j])
    own = promises[roll, l : _end(lows, i, len(under)), h : _end(highs, j, len(over))]
    most = np.unravel_index(int(own.argmax()), own.shape)
    return roll, (l + int(most[0]), h + int(most[1]))


def number_by_halves(first: First, under: NDArray[np.intp], over: NDArray[np.intp]) -> int:
    """The number of a first setting among `by_halves`."""
    lows, highs = _runs(under), _runs(over)
    i, j = (int(np.searchsorted(runs, cell, "right")) - 1 for runs, cell in zip((lows, highs), first.span, strict=True))
    return (first.roll * len(lows) + i) * len(highs) + j


def _runs(faces: NDArray[np.intp]) -> NDArray[np.intp]:
    """Where each run of equal faces begins."""
    return np.flatnonzero(np.diff(faces, prepend=faces[0] - 1))


def _end(starts: NDArray[np.intp], number: int, cells: int) -> int:
    """Where one of some runs ends."""
    return int(starts[number + 1]) if number + 1 < len(starts) else cells


def in_menu(g: FanGrid, thickness: float) -> int:
    """The menu index of a slab's thickness. [mm]"""
    return int(np.abs(g.menu - thickness).argmin())


def _single(g: FanGrid, slab: Array, thickness: float) -> Array:
    """Like `stack_table`, of one slab of the given thickness."""
    t = in_menu(g, thickness)
    return np.diag(slab[: len(slab) - int(g.cells[t]), t], int(g.cells[t]))
