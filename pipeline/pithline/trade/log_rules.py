"""Log rules: board feet of sawn boards that a log is sold by.

Diameters are small-end, inside bark, in inches; lengths in feet, for that is how the rules are written. `scale_log`
takes mm. Board feet of boards are not the volume of the log, and no rule knows of instrument wood.
"""

from __future__ import annotations

from pithline.units import MM_PER_INCH

SECTION_FEET = 4.0
TAPER_PER_SECTION = 0.5  # inch
QUARTER_INCH_FACTOR = 0.904762  # the 1/8 inch rule of 1906 turned into 1/4 inch


def doyle(inches: float, feet: float) -> float:
    """Doyle rule: ``((D - 4)/4)² L``, nothing for 4 in and less. [board feet]

    Source: stated by several forestry pages (second-hand).
    """
    return (max(inches - 4.0, 0.0) / 4.0) ** 2 * feet


def international_quarter(inches: float, feet: float) -> float:
    """International rule, 1/4 inch kerf: ``0.904762 (0.22 D² - 0.71 D)`` for each 4 ft. [board feet]

    Sections count from the small end, each 1/2 in thicker than the last; a last part-section counts by its share of 4
    ft on its own diameter. Source: Michigan Compiled Laws 290.401 (Act 208 of 1941); sharing out the part-section is
    our reading of the printed tables, which it meets in 123 of 126 entries.
    """
    whole = int(feet // SECTION_FEET)
    total = sum(_section(inches + TAPER_PER_SECTION * k) for k in range(whole))
    rest = feet - whole * SECTION_FEET
    total += rest / SECTION_FEET * _section(inches + TAPER_PER_SECTION * whole)
    return QUARTER_INCH_FACTOR * total


def _section(inches: float) -> float:
    return max(0.22 * inches**2 - 0.71 * inches, 0.0)


def scribner(inches: float, feet: float) -> float:
    """Scribner rule by formula: ``(0.79 D² - 2 D - 4) L/16``. [board feet]

    A fit, stated by several forestry pages (second-hand); it differs from the printed Decimal C table by up to 13.
    """
    return max(0.79 * inches**2 - 2.0 * inches - 4.0, 0.0) * feet / 16.0


RULES = {rule.__name__: rule for rule in (doyle, international_quarter, scribner)}
"""The rules by name."""


def scale_log(diameter: float, length: float) -> dict[str, float]:
    """Board feet by the three formula rules, sizes neither rounded nor trimmed.

    Parameters
    ----------
    diameter : float
        Small-end diameter inside bark. [mm]
    length : float
        Length less any trim. [mm]

    Returns
    -------
    dict of str to float
        "doyle", "international_quarter" and "scribner". [board feet]
    """
    inches, feet = diameter / MM_PER_INCH, length / (12.0 * MM_PER_INCH)
    return {name: rule(inches, feet) for name, rule in RULES.items()}


NEARLY_WHOLE = 1e-6
"""What a size may lack of a whole inch or foot and still count as one, for sizes are computed."""


def whole_sizes(diameter: float, length: float) -> tuple[int, int]:
    """Whole inches and whole feet that a buyer scales by: fractions are dropped (common practice, no source; some round)."""
    inches, feet = diameter / MM_PER_INCH, length / (12.0 * MM_PER_INCH)
    return int(inches + NEARLY_WHOLE), int(feet + NEARLY_WHOLE)


def scale_as_bought(diameter: float, length: float) -> dict[str, int]:
    """Whole board feet by the three rules on whole inches and whole feet; parameters as `scale_log`.

    International is read to the nearest 5 in printed tables; here to the nearest board foot, like the others.
    """
    inches, feet = whole_sizes(diameter, length)
    return {name: round(rule(float(inches), float(feet))) for name, rule in RULES.items()}
