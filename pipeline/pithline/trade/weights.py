"""Weight of green wood and logs.

References
----------
Density from specific gravity (ovendry mass over volume at the stated moisture): Wood Handbook, FPL-GTR-190, chapter 4.
Green weight may differ from a species' average by up to 20 % (FPL Technical Note 218, 1931; second-hand): no lift or
load should count on less margin than that.
"""

from __future__ import annotations

from pithline.units import KG_PER_POUND, MM_PER_INCH

KG_M3_PER_LB_FT3 = KG_PER_POUND / (12.0 * MM_PER_INCH / 1000.0) ** 3
GREEN_WEIGHT_SPREAD = 0.20


def wet_density(specific_gravity: float, moisture: float) -> float:
    """Density of wood with its water: ``1000 G (1 + M/100)``. [kg/m³]

    Parameters
    ----------
    specific_gravity : float
        Ovendry mass over volume at moisture M, relative to water (for green wood the green one).
    moisture : float
        Moisture content M. [percent]
    """
    return 1000.0 * specific_gravity * (1.0 + moisture / 100.0)


def weight(volume: float, density: float) -> float:
    """Weight of a volume in mm³ at a density in kg/m³. [kg]"""
    return volume * 1e-9 * density


def heaviest_likely(weight_kg: float) -> float:
    """The weight a lift should allow for: a fifth above the average. [unit given]"""
    return weight_kg * (1.0 + GREEN_WEIGHT_SPREAD)
