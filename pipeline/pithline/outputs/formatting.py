"""Lengths, weights, volumes and angles as text, in the units asked for."""

from __future__ import annotations

from dataclasses import dataclass

from pithline.units import KG_PER_POUND, MM_PER_INCH, format_inches, format_litres, format_mm


@dataclass(frozen=True, slots=True)
class Formatter:
    """How measures are written: `units` "mm" or "in"; a tape reads to 0.5 mm or 1/32 in."""

    units: str = "mm"

    def length(self, value: float) -> str:
        """A length [mm] as a tape shows it, with its unit."""
        if self.units == "in":
            return format_inches(value, 32)
        return format_mm(value, 0.5).replace(".0 mm", " mm")

    def bare(self, value: float) -> str:
        """A length [mm] as a tape shows it, without its unit: for tables whose head says it."""
        return self.length(value).removesuffix(f" {self.units}")

    def fine(self, value: float) -> str:
        """A length [mm] as calipers show it, for plates: to 0.1 mm, in inches to 0.001 in with mm beside it."""
        text = format_mm(value, 0.1)
        return text if self.units == "mm" else f"{value / MM_PER_INCH:.3f} in ({text})"

    def both(self, value: float) -> str:
        """A length [mm] in both units, where a mistake would cost the log."""
        other = format_inches(value, 32) if self.units == "mm" else format_mm(value, 0.5).replace(".0 mm", " mm")
        return f"{self.length(value)} ({other})"

    def size(self, *values: float) -> str:
        """Several lengths [mm] joined by ×."""
        return " × ".join(self.length(value) for value in values)

    def weight(self, kilograms: float) -> str:
        """A weight [kg] in kg and lb, rounded up: it will be lifted."""
        return f"{-int(-kilograms // 1)} kg ({-int(-kilograms / KG_PER_POUND // 1)} lb)"

    def volume(self, value: float) -> str:
        """A volume [mm³] in litres."""
        return format_litres(value)


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
