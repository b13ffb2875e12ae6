"""Frozen products: limits, parts and demand. Lengths in mm, angles in radians."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """One limit list for plates."""

    name: str
    ring_angle_min: float
    ring_angle_mean: float
    runout_max: float
    sapwood: str = "any"  # "none" | "any" | "edge"
    sapwood_edge: float = 0.0
    slope_max: float | None = None  # of fibres within the face [rad]
    ring_angle_max: float | None = None  # for parts wanted rift or flat sawn [rad]


@dataclass(frozen=True, slots=True)
class Part:
    """One part of an instrument set, in the size its file states (green or finished)."""

    name: str
    count: int
    length: float
    width: float
    thickness: float
    bookmatched: bool
    resaw: str = "green"  # "green" | "dried"
    limits: str | None = None  # the product's where None
    loose_price: float = 0.0  # of one plate in no set, or of a mated pair where bookmatched

    @property
    def volume(self) -> float:
        """Volume of one plate at the stated size. [mm³]"""
        return self.length * self.width * self.thickness


@dataclass(frozen=True, slots=True)
class Product:
    """An instrument set: the parts that make one instrument."""

    name: str
    price: float
    limits: str
    parts: tuple[Part, ...]
    demand: int | None = None


@dataclass(frozen=True, slots=True)
class Products:
    """A whole products file."""

    sizes: str  # "green" | "finished"
    limits: tuple[Limits, ...]
    products: tuple[Product, ...]
    dry_to_percent: float | None = None
    surfacing: float = 0.0  # per face
    loose_share: float = 0.1  # what a litre of plates in no set counts, to one in sets

    def limits_of(self, product: Product, part: Part | None = None) -> Limits:
        """The limit list that a part names, or its product."""
        name = product.limits if part is None or part.limits is None else part.limits
        return next(one for one in self.limits if one.name == name)
