"""How long sawn wood dries before it can be sold: one relation for appraisal, season and sheet.

    weeks = inch_weeks · (thickness / 25.4 mm) ^ power + indoor_weeks

Air drying slows down faster than thickness grows: moisture has further to go as well as more of it to lose, which by diffusion
alone would make the power 2; 1.5 is common practice, from memory, with no source seen.

References
----------
`AIR_DRYING.inch_weeks`: 4/4 sugar maple air dried in Upper Michigan in 40 to 205 days, about 90 on average (FPL Report 2086, 1957). For 4/4
black walnut the same laboratory's figure is remembered as 70 to 200 days (Technical Note 233, 1960; row not seen). `indoor_weeks`, on
to 6 to 8 % indoors, conditioning and sorting: common practice with no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pithline.keys.declared import key
from pithline.keys.readers import number
from pithline.units import MM_PER_INCH

_WEEKS = number(at_least=0.0, what="number of weeks")

WEEKS_A_MONTH = 365.25 / 12.0 / 7.0


@dataclass(frozen=True, slots=True)
class Drying:
    """Weeks that an inch dries in the air, how they grow with thickness, and weeks indoors after that."""

    inch_weeks: float = field(metadata=key("inch_weeks", _WEEKS, "weeks that an inch (25.4 mm) dries in the air"))
    power: float = field(
        metadata=key(
            "power", number(at_least=1.0, at_most=2.0, what="number"), "of the thickness, that these grow with"
        )
    )
    indoor_weeks: float = field(
        default=0.0, metadata=key("indoor_weeks", _WEEKS, "and weeks indoors after that, whatever the thickness")
    )

    def weeks(self, thickness: float) -> float:
        """Weeks from the saw until a plate or billet of this thickness can be sold. [mm]"""
        return float(self.inch_weeks * (thickness / MM_PER_INCH) ** self.power + self.indoor_weeks)

    def months(self, thickness: float) -> float:
        """The same in months."""
        return self.weeks(thickness) / WEEKS_A_MONTH


AIR_DRYING = Drying(13.0, 1.5, 4.0)
"""The bundled yard file's; where no yard file is at hand, such as on a sheet."""
