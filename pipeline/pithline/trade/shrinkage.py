"""Shrinkage from green, by ring angle, and the green size that a finished part must be sawn to.

All shrinkages are fractions of the green dimension. The ring angle is the angle between the growth rings and the
wide face: pi/2 quartersawn, 0 flat sawn.

References
----------
Wood Handbook: *Wood as an Engineering Material*, FPL-GTR-190, USDA Forest Service, 2010: chapter 4 (fibre
saturation near 30 %, shrinkage in proportion to the moisture lost below it; Table 4-3, green to ovendry) and Table
13-5 (dimensional change coefficients). The blend by ring angle is plane-strain geometry, exact for small strains.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

FIBRE_SATURATION = 30.0  # percent; an average, it varies by species and piece (Wood Handbook, p. 4-2)
LONGITUDINAL_SHRINKAGE = 0.0015  # green to ovendry, normal wood; the middle of the stated 0.1 to 0.2 %
COEFFICIENT_BASIS = 10.0  # percent moisture at which the size is taken that Table 13-5's coefficients multiply


class _Species(Protocol):
    """What is asked of a species: shrinkage green to ovendry, as fractions."""

    @property
    def shrink_radial(self) -> float: ...

    @property
    def shrink_tangential(self) -> float: ...


class _Part(Protocol):
    """What is asked of a part: its stated size. [mm]"""

    @property
    def length(self) -> float: ...

    @property
    def width(self) -> float: ...

    @property
    def thickness(self) -> float: ...


class _Products(Protocol):
    """What is asked of a products file: which sizes it states, and the allowances."""

    @property
    def sizes(self) -> str: ...

    @property
    def dry_to_percent(self) -> float | None: ...

    @property
    def surfacing(self) -> float: ...


def shrinkage_at(ovendry: float, moisture: float) -> float:
    """Shrinkage from green to a moisture content.

    ``S_M = S_0 (30 - M) / 30`` for M from 0 to 30 %, and none above (Wood Handbook, chapter 4).

    Parameters
    ----------
    ovendry : float
        Shrinkage S_0 green to ovendry, as a fraction of the green dimension.
    moisture : float
        Moisture content M. [percent]

    Returns
    -------
    float
        Shrinkage as a fraction of the green dimension.

    Examples
    --------
    >>> round(100 * shrinkage_at(0.055, 8.0), 3)  # black walnut, radial
    4.033
    """
    if moisture < 0:
        raise ValueError(f"a moisture content cannot be negative ({moisture} %)")
    return ovendry * (max(FIBRE_SATURATION - moisture, 0.0) / FIBRE_SATURATION)


def face_shrinkage(ring_angle: float, radial: float, tangential: float) -> tuple[float, float]:
    """Shrinkage of a board's width and thickness at a ring angle.

    ``width = s_T cos²α + s_R sin²α`` and ``thickness = s_T sin²α + s_R cos²α``; their sum is s_T + s_R at every angle.

    Parameters
    ----------
    ring_angle : float
        Angle α of the rings to the wide face. [radians]
    radial, tangential : float
        Shrinkages s_R and s_T, both as fractions or both in percent.

    Returns
    -------
    tuple of float
        Shrinkage of the width and of the thickness, in the unit given.
    """
    cos2 = float(np.cos(ring_angle)) ** 2
    sin2 = 1.0 - cos2
    return tangential * cos2 + radial * sin2, tangential * sin2 + radial * cos2


def corner_turn(ring_angle: float, radial: float, tangential: float) -> float:
    """Angle by which a square corner leaves 90° as the board dries: ``(s_T - s_R) sin 2α``. [radians]

    Plane-strain geometry, small strains; none at 0 and at 90°, greatest at 45°.
    """
    return (tangential - radial) * float(np.sin(2.0 * ring_angle))


def change_coefficient(ovendry: float) -> float:
    """Change of a dimension for 1 % of moisture, as a fraction of the size at 10 % moisture.

    ``C = (s/30) / (1 - s 20/30)``, s the shrinkage green to ovendry. Reproduces Wood Handbook Table 13-5 from Table
    4-3 to within 0.00001; the table holds for 6 to 14 % moisture.
    """
    at_basis = 1.0 - shrinkage_at(ovendry, COEFFICIENT_BASIS)
    return ovendry / FIBRE_SATURATION / at_basis


def size_change(size: float, coefficient: float, moisture_from: float, moisture_to: float) -> float:
    """Change in size between two moisture contents: ``D_I C (M_F - M_I)``. [unit of size]

    Wood Handbook, chapter 13; moisture contents in percent, 6 to 14 %.
    """
    return size * coefficient * (moisture_to - moisture_from)


def sawn_size(part: _Part, ring_angle: float, species: _Species, products: _Products) -> tuple[float, float, float]:
    """Green size to saw for a part, at the ring angle of its wide face.

    Where the products file states green sizes, the part's own size. Where it states finished ones, surfacing is
    added to both faces of width and of thickness, and each dimension is divided by what drying leaves of it.

    Parameters
    ----------
    part : pithline.mill.products.Part
        Part with the size its file states. [mm]
    ring_angle : float
        Mean angle of the rings to the plate's wide face. [radians]
    species : pithline.logmodel.species.Species
        Radial and tangential shrinkage, green to ovendry, as fractions.
    products : pithline.mill.products.Products
        Which sizes are stated, the moisture content dried to [percent], surfacing per face [mm].

    Returns
    -------
    tuple of float
        Length, width and thickness as sawn. [mm]

    Raises
    ------
    ValueError
        If finished sizes come without a moisture content to dry to, or `sizes` is neither kind.
    """
    if products.sizes == "green":
        return part.length, part.width, part.thickness
    if products.sizes != "finished":
        raise ValueError(f'sizes are "green" or "finished", not "{products.sizes}"')
    if products.dry_to_percent is None:
        raise ValueError("finished sizes need the moisture content they are dried to (dry_to_percent)")
    moisture = products.dry_to_percent
    wide, thick = face_shrinkage(
        ring_angle, shrinkage_at(species.shrink_radial, moisture), shrinkage_at(species.shrink_tangential, moisture)
    )
    extra = 2.0 * products.surfacing
    return (
        part.length / (1.0 - shrinkage_at(LONGITUDINAL_SHRINKAGE, moisture)),
        (part.width + extra) / (1.0 - wide),
        (part.thickness + extra) / (1.0 - thick),
    )
