"""What becomes of a log that waits, and what may be in it: end checks and metal, each by one relation used everywhere.

End checks run in fast while the ends dry and slower later, for the drying front moves inwards with the square root of time (diffusion
into a thick body):

    median length = (start + growth · √months) · (coated where the ends were coated at once, else 1)

The square root is common physics; `start`, `growth` and `coated` are the priors file's, customary or invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class EndChecks:
    """Median length of end checks [mm]: when felled, and what it grows by in the first month; the share that coating leaves."""

    start: float
    growth: float
    coated: float

    def length(self, months: float, coated: bool) -> float:
        """Median so many months after felling. [mm]"""
        return (self.start + self.growth * math.sqrt(max(months, 0.0))) * (self.coated if coated else 1.0)


@dataclass(frozen=True, slots=True)
class MetalChances:
    """The chance that a log holds metal: grown in a forest, in a yard or on a fence line, or with iron stain on an end."""

    forest: float
    yard: float
    stained: float

    def of(self, yard_tree: bool, stain: bool) -> float:
        """The chance of one log; stain tells more than where it grew, and never less."""
        grown = self.yard if yard_tree else self.forest
        return max(grown, self.stained) if stain else grown
