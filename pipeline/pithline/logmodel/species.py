"""What is known of each wood: shrinkage, bark, sapwood, green weight. Frozen values, each with its standing."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from pithline.errors import InputError


@dataclass(frozen=True, slots=True)
class Species:
    """One wood.

    Attributes
    ----------
    name : str
    shrink_radial, shrink_tangential : float
        Fraction of the green size lost from green to ovendry.
    bark_ratio, bark_ratio_error : float
        Diameter inside bark over diameter outside bark, and its standard error between logs of the species.
    sapwood_most : float
        Upper end of the stated range of sapwood thickness. [mm]
    green_density : float
        Weight of green wood with its water. [kg/m³]
    """

    name: str
    shrink_radial: float
    shrink_tangential: float
    bark_ratio: float
    bark_ratio_error: float
    sapwood_most: float
    green_density: float

    def bark_thickness(self, radius: float) -> float:
        """Thickness of the bark where the log measures `radius` over bark. [mm]"""
        return (1.0 - self.bark_ratio) * radius


# Shrinkage: Wood Handbook (FPL-GTR-190, 2010), Table 4-3; sugar maple and northern red oak from memory, the maple's
#   reproducing the handbook's own coefficients of Table 13-5.
# Green weight: US National Park Service, Safety for Tree Workers: walnut 58, cherry 45, white oak 62, red oak 63,
#   ash 48 and beech 54 lb/ft³. Sugar maple, sycamore and butternut: specific gravity and green moisture content,
#   from memory.
# Bark: inside over outside bark near 0.92 for hardwoods, give or take 0.02; from memory, no source. Beech has the
#   thinnest bark of these.
# Sapwood: walnut in sawlogs 25 to 50 mm (common practice; open-grown trees reach 80 mm, Wood Handbook ch. 2). The rest
#   from memory; woods without a marked heartwood have the most.
_BARK, _DOUBT = 0.92, 0.02
SPECIES: dict[str, Species] = {
    one.name: one
    for one in (
        Species("black walnut", 0.055, 0.078, _BARK, _DOUBT, 50.0, 929.0),
        Species("white ash", 0.049, 0.078, _BARK, _DOUBT, 120.0, 769.0),
        Species("black cherry", 0.037, 0.071, _BARK, _DOUBT, 25.0, 721.0),
        Species("sugar maple", 0.048, 0.099, _BARK, _DOUBT, 130.0, 930.0),
        Species("white oak", 0.056, 0.105, _BARK, _DOUBT, 40.0, 993.0),
        Species("northern red oak", 0.040, 0.086, _BARK, _DOUBT, 50.0, 1009.0),
        Species("sycamore", 0.050, 0.084, _BARK, _DOUBT, 80.0, 1010.0),
        Species("butternut", 0.034, 0.064, _BARK, _DOUBT, 25.0, 740.0),
        Species("beech", 0.055, 0.119, 0.95, _DOUBT, 130.0, 865.0),
    )
}


def species_of(name: str) -> Species:
    """The species of that name, case and spacing aside.

    Raises
    ------
    InputError
        If it is not known; names the nearest known one.
    """
    wanted = " ".join(name.lower().replace("-", " ").replace("_", " ").split())
    if wanted in SPECIES:
        return SPECIES[wanted]
    near = difflib.get_close_matches(wanted, SPECIES, 1, 0.0)
    holding = [known for known in SPECIES if wanted and (wanted in known or known in wanted)]
    nearest = (holding or near)[0]
    raise InputError(
        f'species "{name}" is not known; did you mean "{nearest}"? Known are: {", ".join(sorted(SPECIES))}.'
    )
