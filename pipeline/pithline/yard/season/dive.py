"""A plan from the linear relaxation: options are fixed a few at a time, nearly whole ones first, and the rest solved anew."""

from __future__ import annotations

import numpy as np

from pithline.yard.season.program import Array, Program
from pithline.yard.season.relax import solve_between

WHOLE = 1.0 - 1e-6
STEPS = 400


def dive(program: Program) -> Array | None:
    """Whole values of a programme's variables, or None where the dive ends in none.

    With all z and g fixed, sets flow from logs through a running stock to orders, a network whose vertices are whole
    (Ahuja, Magnanti, Orlin, Network Flows, 1993, theorem 11.5).
    """
    f0, _, g0, i0 = program.starts
    choice = np.concatenate([np.arange(f0), np.arange(g0, i0)])
    low, high = np.zeros(len(program.upper)), program.upper.copy()
    for _ in range(STEPS):
        x = _linear(program, low, high)
        if x is None:
            return None
        loose = choice[low[choice] < high[choice]]
        part = loose[(x[loose] > 1e-6) & (x[loose] < WHOLE)]
        whole = loose[x[loose] >= WHOLE]
        low[whole] = 1.0
        if not len(part):
            low[choice] = high[choice] = np.round(x[choice])
            x = _linear(program, low, high)
            return None if x is None else np.round(x)
        _fix(program, part[np.argsort(-x[part], kind="stable")], x, low, high)
    return None


def _fix(program: Program, part: Array, x: Array, low: Array, high: Array) -> None:
    """Take the largest parts whole, a tenth of them at once, where their rows still have room; refuse them where not."""
    room = program.limit - program.matrix @ low
    for v in part[: max(1, len(part) // 10)]:
        column = program.matrix[:, [v]]
        fits = bool((column.data <= room[column.indices] + 1e-6).all())
        if v < len(program.options) and not fits:
            high[v] = 0.0
        else:
            low[v] = 1.0
            if v < len(program.options):
                room[column.indices] -= np.maximum(column.data, 0.0)


def _linear(program: Program, low: Array, high: Array) -> Array | None:
    done = solve_between(program, low, high)
    return done.x if done.status == 0 else None
