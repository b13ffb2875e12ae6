"""Tables of slabs of random worth, what is read from them one slab at a time, and the programmes over them."""

from types import SimpleNamespace

import numpy as np

from pithline.plan.pricing.log_grid import LogGrid
from pithline.plan.pricing.log_oracle import BoltClass, PricedLog, solve_log
from pithline.plan.problem.economics import Charges
from pithline.plan.programmes.fan_runs import FanGrid
from pithline.plan.programmes.fan_stacks import LEAST_WASTE
from pithline.plan.programmes.grid import Grid

STEP = 6.0
MENU = (12.0, 18.0)
KERF = 2.3  # no round numbers: nothing lies exactly on the grid across
ROLLS = 6
QUARTER = ROLLS // 2
ANGLES = np.array([QUARTER - 1, QUARTER, QUARTER + 1])  # halves are turned 60°, 90° or 120°
GAP = int(np.ceil(KERF / STEP))
WASTE = int(np.ceil(LEAST_WASTE / STEP))
WHOLE_LOCKS = (False, None)
CELLS = np.array([2, 3])
FACES = np.array([1.7, 11.3, 21.9])
"""Corners of bolts. [mm]"""


def grid_of(half_depth=4, half_across=6):
    return Grid(ROLLS, STEP, 50.0, 10.0, half_depth * STEP, half_across * 10.0, MENU)


def random_values(rng, grid, share=0.5):
    """Worth of every slab: (roll, side, depth, thickness, place), never more from further out, none off the grid."""
    nd, nu = len(grid.depths), len(grid.across)
    steps = rng.uniform(0, 0.4, (ROLLS, nd, 2, nu)) * (rng.uniform(0, 1, (ROLLS, nd, 2, 1)) < share)
    values = np.zeros((ROLLS, 2, nd, 2, nu + 1), np.float32)
    values[:, 0, :, :, :-1] = np.cumsum(steps[..., ::-1], axis=-1)[..., ::-1]
    values[:, 1, :, :, 1:] = np.cumsum(steps, axis=-1)
    for t, cells in enumerate(CELLS):
        values[:, :, nd - cells :, t] = 0.0
    return values


def worth_of(values, turn, low, t, from_place):
    """Worth of the slab whose normal has clock index `turn`, lower face at `low` cells, lateral at least `from_place`.

    Lateral runs a quarter turn on from the normal; half a turn on, the same slab is seen from behind.
    """
    depths, places = values.shape[2], values.shape[4] - 1
    half_depth, half_across = depths // 2, places // 2
    turn %= 2 * ROLLS
    if turn >= ROLLS:
        low, side, place = -low - int(CELLS[t]), 1, half_across - from_place
    else:
        side, place = 0, half_across + from_place
    at = low + half_depth
    if not 0 <= at < depths:
        return 0.0
    if side == 0 and place > places:
        return 0.0
    if side == 1 and place < 0:
        return 0.0
    return float(values[turn % ROLLS, side, at, t, min(max(place, 0), places)])


def first_place(direction, low, top, faces):
    """Where along `direction` a slab between two offsets lies inside every face: (normal angle, offset) pairs, mm."""
    least = -np.inf
    for angle, offset in faces:
        along = np.cos(angle - direction)
        across = -np.sin(direction - angle)  # the slab's normal stands a quarter turn on
        if along < 1e-9:
            assert all(c * across >= offset - 1e-6 for c in (low, top))
            continue
        least = max(least, *((offset - c * across) / along for c in (low, top)))
    return least


def fan_grid(values, grid):
    """A table of slabs as the kernels read it."""
    half_depth, half_across = len(grid.depths) // 2, len(grid.across) // 2
    return FanGrid(values, np.array(MENU), CELLS, grid.depth_step, grid.across_step, half_depth, half_across, KERF, GAP)


def log_of(grid):
    """What the programmes ask of a log's grid; no wood."""
    return LogGrid(None, None, SimpleNamespace(grid=grid), SimpleNamespace(menu=np.array(MENU)), CELLS, FACES)


def searched(values, grid, charge, off_square=0.0, flat=0.0):
    """The programmes of halves and first settings over a table of slabs, with its bolts sawn in the shop."""
    g = fan_grid(values, grid)
    log = log_of(grid)
    charges = (Charges(charge, charge, charge, off_square), Charges(charge, charge, flat))
    bolts = BoltClass("two cradles", (30.0, 60.0))
    return solve_log(PricedLog(log, None, g, g), bolts, charges, ANGLES, WHOLE_LOCKS)
