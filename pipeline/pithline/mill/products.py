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

    def limits_of(self, product: Product) -> Limits:
        """The limit list that a product names."""
        return next(one for one in self.limits if one.name == product.limits)
