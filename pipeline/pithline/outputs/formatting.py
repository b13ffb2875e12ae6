"""Lengths, weights, volumes and angles as text, in the units asked for and in no other."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from pithline.units import KG_PER_POUND, MM3_PER_BOARD_FOOT, MM_PER_INCH, format_inches, format_litres, format_mm

TAPE_PARTS = 32
"""A tape in inches is read to this part of an inch."""
TAPE_MM = 0.5
"""A tape in mm is read to this."""
FENCE_STEP = {"mm": 0.5, "in": 0.005 * MM_PER_INCH}
"""A fence is set to this; in inches by a decimal scale. [mm]"""
AS_SET = 0.05
"""A fence's distance this near to a step is that step. [mm]"""
IN_TEXT = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) mm\b")
"""A length in a sentence of the script."""


@dataclass(frozen=True, slots=True)
class Formatter:
    """How measures are written: `units` "mm" or "in"."""

    units: str = "mm"

    @property
    def inches(self) -> bool:
        """Whether lengths are in inches, weights in pounds and volumes in board feet."""
        return self.units == "in"

    def length(self, value: float) -> str:
        """A length [mm] as a tape shows it, with its unit."""
        if self.inches:
            return format_inches(value, TAPE_PARTS)
        return format_mm(value, TAPE_MM).replace(".0 mm", " mm")

    def bare(self, value: float) -> str:
        """A length [mm] as a tape shows it, without its unit: for tables whose head says it."""
        return self.length(value).removesuffix(f" {self.units}")

    def fine(self, value: float) -> str:
        """A length [mm] as calipers show it, for plates: to 0.1 mm or 0.001 in."""
        return f"{value / MM_PER_INCH:.3f} in" if self.inches else format_mm(value, 0.1).replace(".0 mm", " mm")

    def fence(self, value: float, spare: float) -> str:
        """What a fence is set to for a slice of `value` [mm]: a whole step, rounded up, where `spare` [mm] allows, else as it is."""
        step = FENCE_STEP[self.units]
        steps = (
            round(value / step) if abs(value / step - round(value / step)) * step < AS_SET else math.ceil(value / step)
        )
        return self.fine(steps * step) if steps * step - value <= spare + AS_SET else self.fine(value)

    def size(self, *values: float) -> str:
        """Several lengths [mm] joined by ×, the unit said once."""
        return f"{' × '.join(self.bare(value) for value in values)} {self.units}"

    def weight(self, kilograms: float) -> str:
        """A weight [kg], rounded up: it will be lifted."""
        return f"{math.ceil(kilograms / KG_PER_POUND)} lb" if self.inches else f"{math.ceil(kilograms)} kg"

    def volume(self, value: float) -> str:
        """A volume [mm³] in litres or board feet."""
        return f"{value / MM3_PER_BOARD_FOOT:.1f} bd ft" if self.inches else format_litres(value)

    def retold(self, text: str) -> str:
        """A sentence of the script, its lengths in the units asked for."""
        return IN_TEXT.sub(lambda found: self.length(float(found[1])), text) if self.inches else text


def degrees(value: float) -> str:
    """An angle [°] without needless decimals."""
    return f"{value:.1f}".removesuffix(".0") + "°"


def sentence(text: str) -> str:
    """A caution of the script as a sentence."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def clock_face(turned_deg: float) -> str:
    """A direction as on a clock's face, to half an hour: 210° is "7 o'clock"."""
    halves = round(turned_deg % 360.0 / 15.0) % 24
    hour = halves // 2 or 12
    return f"half past {hour}" if halves % 2 else f"{hour} o'clock"


def count(number: int, what: str, many: str | None = None) -> str:
    """A number of things: "1 plate", "2 plates"; `many` where the plural takes no s."""
    return f"{number} {what if number == 1 else many or what + 's'}"
