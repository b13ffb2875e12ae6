"""What an objective makes of plates and settings: litres, or money."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ObjectiveWeights:
    """What is maximised: each plate's worth, the charge of a setting, and whether complete sets come first, by what they hold.

    Otherwise, of all answers that are worth less than the best by at most the share `sets_within`, the one is taken
    whose complete sets hold most.
    """

    worth: Array
    charge: float
    sets_first: bool = False
    settings_max: int | None = None
    sets_within: float = 0.0
    off_square: float = 0.0  # what a half's setting is charged more where it is not turned 90°


LITRE = 1e6


def setting_cost(machines: Machines, reach: float, hour_rate: float) -> float:
    """What a charged setting of a log `reach` mm long costs by the hour: setting it up, and some three cuts."""
    mill = machines.mill
    return (mill.minutes_per_setting + 3.0 * reach / mill.feed) * hour_rate / 60.0


def objective_weights(
    objective: str, parts: tuple[SawnPart, ...], machines: Machines, reach: float, settings_max: int | None = None
) -> ObjectiveWeights:
    """What an objective makes of plates and settings; litres, or money."""
    mill = machines.mill
    if objective == "value":
        charge = setting_cost(machines, reach, mill.hour_rate)
        leaning = mill.minutes_off_square * mill.hour_rate / 60.0
        return ObjectiveWeights(np.array([p.price for p in parts]), charge, False, settings_max, off_square=leaning)
    worth = np.array([p.volume for p in parts]) / LITRE
    if objective == "sets":
        return ObjectiveWeights(worth, 1e-3, True, settings_max)
    return ObjectiveWeights(worth, mill.least_gain_per_setting / LITRE, False, settings_max)
