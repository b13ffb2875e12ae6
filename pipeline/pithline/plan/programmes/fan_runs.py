"""What the programme of fans reads: slab values of all rolls, and the directions in which a bolt's runs may lie with their charges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
NEVER = 1e9
"""The charge of a run that no cradle holds."""


class FanGrid(NamedTuple):
    """Slab values of all rolls with the numbers needed to read them. Lengths mm."""

    values: NDArray[np.float32]  # (rolls, 2, depths, menu, across + 1), as `slab_values` gives them
    menu: Array
    cells: Ints  # thickness in depth cells
    depth_step: float
    across_step: float
    half_depth: int
    half_across: int
    kerf: float
    kerf_cells: int


class FanRuns(NamedTuple):
    """The directions of a bolt's runs, in roll steps from its base, and what each is charged.

    steps : (k,) the first 0, the last the bolt's opening
    closest : the least turn from one run to the next
    least_flat : thickness that the slab on the face that carries a flat run has at least [mm]
    cost : (k + 1, k) of a run at direction k after one at direction q − 1 (0: the first of all); `NEVER` where nothing holds it
    """

    steps: Ints
    cost: Array
    closest: int
    least_flat: float = 0.0

    @property
    def parting(self) -> tuple[int, ...]:
        """The directions in which a bolt's first slab may part another bolt off, indices: those nearest the middle."""
        off_middle = np.abs(2 * self.steps - self.steps[-1])[1:-1]
        return tuple((np.flatnonzero(off_middle == off_middle.min()) + 1).tolist()) if len(off_middle) else ()


def fan_runs(
    opening: int,
    cradles: Mapping[int, float],
    flat: float,
    free_spread: int = 0,
    free: float = NEVER,
    least_flat: float = 0.0,
) -> FanRuns:
    """The runs that cradles allow a bolt.

    Parameters
    ----------
    opening : of the bolt, roll steps
    cradles : what a run is charged by the cradle's angle, roll steps
    flat : what a run along a sawn face is charged
    free_spread : where not 0, runs at any multiple of so many roll steps are allowed too
    free : what those are charged
    least_flat : thickness of the slab on which a flat run rests, at least [mm]
    """
    steps = {0, opening}
    if free_spread:
        steps |= set(range(0, opening, free_spread))
    found = {0} | {opening - angle for angle in cradles if angle < opening}
    while found:
        steps |= found
        found = {s + angle for s in found for angle in cradles if s + angle < opening} - steps
    rising = np.array(sorted(steps), np.int64)
    cost = np.full((len(rising) + 1, len(rising)), NEVER)
    for k, step in enumerate(rising.tolist()):
        for q in range(k + 1):
            before = 0 if q == 0 else int(rising[q - 1])
            if k in (0, len(rising) - 1):
                cost[q, k] = flat
            else:
                angles = (step - before, step, opening - step)
                cost[q, k] = min(min(cradles.get(angle, NEVER) for angle in angles), free)
    return FanRuns(rising, cost, int(np.diff(rising).min()), least_flat)


@njit(cache=True, inline="always")
def slab_worth(g: FanGrid, roll: int, low: int, t: int, side: int, place: int) -> float:
    """Value of the slab with normal clock index `roll`, lower face at cell `low`, beyond `place`; all from the middle.

    side 0: lateral ≥ place; side 1: lateral ≤ place. Tables hold half a turn only: the other half is the same slab seen
    from behind.
    """
    rolls, nd, last = g.values.shape[0], g.values.shape[2], g.values.shape[4] - 1
    roll = roll % (2 * rolls)
    if roll >= rolls:
        roll -= rolls
        low = -low - g.cells[t]
        place = -place
        side = 1 - side
    d = low + g.half_depth
    if d < 0 or d >= nd:
        return 0.0
    u = place + g.half_across
    if side == 0:
        return g.values[roll, 0, d, t, max(u, 0)] if u <= last else 0.0
    return g.values[roll, 1, d, t, min(u, last)] if u >= 0 else 0.0
