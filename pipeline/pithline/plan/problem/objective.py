"""What a search makes most of, and what that makes of plates and settings: litres, or money."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from pithline.mill.machine import Machines
from pithline.plan.problem.parts import SawnPart

Array = NDArray[np.float64]
LITRE = 1e6
"""[mm³]"""
SET_CHARGE = 1e-3
"""Where complete sets come first a setting is charged next to nothing: of equals, the one of fewer settings. [L]"""
CUTS_PER_SETTING = 3.0
"""Cuts that a setting takes, more or less, where its minutes are reckoned before it is laid out."""


class Objective(StrEnum):
    """What is made most of."""

    VOLUME = "volume"  # passing plates
    VALUE = "value"  # their money less that of hours
    SETS = "sets"  # complete sets first, by what they hold

    @property
    def in_money(self) -> bool:
        """Whether it counts money; else litres."""
        return self is Objective.VALUE

    @property
    def unit(self) -> float:
        """What one unit of its values is: mm³ of a litre, or 1 of the currency."""
        return 1.0 if self.in_money else LITRE

    def worth(self, parts: tuple[SawnPart, ...]) -> Array:
        """What one plate of each part counts, (p,)."""
        if self.in_money:
            return np.array([part.price for part in parts])
        return np.array([part.volume for part in parts]) / LITRE


@dataclass(frozen=True, slots=True)
class ObjectiveWeights:
    """What a search maximises.

    Of all answers that are worth less than the best by at most the share `sets_within`, the one is taken whose complete
    sets hold most.

    Attributes
    ----------
    worth : (p,) array
        Of one plate of each part.
    charge : float
        Of a setting.
    sets_first : bool
        Whether complete sets come first, by what they hold.
    settings_max : int, optional
        Most charged settings.
    sets_within : float
        Share of the value that may go for complete sets.
    off_square : float
        What a half's setting is charged more where it is not turned 90°.
    """

    worth: Array
    charge: float
    sets_first: bool = False
    settings_max: int | None = None
    sets_within: float = 0.0
    off_square: float = 0.0


def setting_cost(machines: Machines, reach: float, hour_rate: float) -> float:
    """What a charged setting of a log `reach` mm long costs by the hour: setting it up, and its cuts."""
    mill = machines.mill
    return (mill.minutes_per_setting + CUTS_PER_SETTING * reach / mill.feed) * hour_rate / 60.0


def objective_weights(
    objective: Objective,
    parts: tuple[SawnPart, ...],
    machines: Machines,
    reach: float,
    settings_max: int | None = None,
) -> ObjectiveWeights:
    """What an objective makes of plates and settings.

    Parameters
    ----------
    objective : Objective
        What is made most of.
    parts : tuple of SawnPart
        The parts that are searched.
    machines : Machines
        Their charges.
    reach : float
        Length of the log along its pith's chord. [mm]
    settings_max : int, optional
        Most charged settings.
    """
    mill, worth = machines.mill, objective.worth(parts)
    if objective is Objective.VALUE:
        charge = setting_cost(machines, reach, mill.hour_rate)
        leaning = mill.minutes_off_square * mill.hour_rate / 60.0
        return ObjectiveWeights(worth, charge, False, settings_max, off_square=leaning)
    if objective is Objective.SETS:
        return ObjectiveWeights(worth, SET_CHARGE, True, settings_max)
    return ObjectiveWeights(worth, mill.least_gain_per_setting / LITRE, False, settings_max)
