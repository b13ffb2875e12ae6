"""Frozen products: limits, parts and demand. Lengths in mm, angles in radians.

Each field declares the key of the products file that fills it (`pithline.keys.declared`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from pithline.keys.declared import key, named_tables, tables
from pithline.keys.readers import flag, length, number, one_of, text, whole

DEFAULT_LIMITS = "trade"

_POSITIVE = length(at_least=None, above=0.0)
_ANGLE = number(at_least=0.0, at_most=90.0, what="angle in degrees")


@dataclass(frozen=True, slots=True)
class Limits:
    """One limit list for plates."""

    name: str
    ring_angle_min: float = field(
        metadata=key("ring_angle_min_deg", _ANGLE, "least ring angle anywhere in a plate", freeze=math.radians)
    )
    ring_angle_mean: float = field(
        metadata=key("ring_angle_mean_deg", _ANGLE, "least mean ring angle of a plate", freeze=math.radians)
    )
    runout_max: float = field(
        metadata=key("runout_max_deg", _ANGLE, "greatest runout anywhere in a plate", freeze=math.radians)
    )
    sapwood: str = field(
        default="any",
        metadata=key(
            "sapwood",
            one_of("none", "any", "edge"),
            'where sapwood may be: "any", "none", or "edge": along one long edge, no further in than `sapwood_edge`',
        ),
    )
    sapwood_edge: float = field(
        default=0.0, metadata=key("sapwood_edge", length(), 'how far in it may reach, where `sapwood` is "edge"')
    )
    slope_max: float | None = field(
        default=None,
        metadata=key(
            "slope_max_deg",
            _ANGLE,
            "greatest slope of the fibres within the face, along to across",
            "no: not asked",
            freeze=math.radians,
        ),
    )
    ring_angle_max: float | None = field(
        default=None,
        metadata=key(
            "ring_angle_max_deg",
            _ANGLE,
            "greatest ring angle anywhere in a plate, for parts wanted rift or flat sawn",
            "no: not asked",
            freeze=math.radians,
        ),
    )


@dataclass(frozen=True, slots=True)
class Part:
    """One part of an instrument set, in the size its file states (green or finished)."""

    name: str = field(metadata=key("name", text, "one part of the set"))
    count: int = field(metadata=key("count", whole(1), "how many of it a set has"))
    length: float = field(metadata=key("length", _POSITIVE, "along the grain"))
    width: float = field(metadata=key("width", _POSITIVE, "no more than the length"))
    thickness: float = field(metadata=key("thickness", _POSITIVE, "no more than the width"))
    bookmatched: bool = field(
        metadata=key("bookmatched", flag, "mated pairs of one billet", "no: true where `count` is even", required=False)
    )
    resaw: str = field(
        default="green",
        metadata=key(
            "resaw", one_of("green", "dried"), '"green", or "dried": its billet is dried first and resawn last'
        ),
    )
    limits: str | None = field(
        default=None, metadata=key("limits", text, "limits of this part alone", "no: the product's")
    )
    loose_price: float = field(
        default=0.0,
        metadata=key(
            "loose_price",
            number(at_least=0.0, what="amount of money"),
            "of one plate in no set, or of a mated pair where bookmatched",
        ),
    )

    @property
    def volume(self) -> float:
        """Volume of one plate at the stated size. [mm³]"""
        return self.length * self.width * self.thickness


@dataclass(frozen=True, slots=True)
class Product:
    """An instrument set: the parts that make one instrument."""

    name: str = field(metadata=key("name", text, "an instrument set"))
    price: float = field(metadata=key("price", number(at_least=0.0, what="amount of money"), "of one set"))
    limits: str = field(
        default=DEFAULT_LIMITS, metadata=key("limits", text, "the name of the limits that its plates keep")
    )
    parts: tuple[Part, ...] = field(default=(), metadata=tables("part", Part, required=True))
    demand: int | None = field(
        default=None, metadata=key("demand", whole(0), "sets that are wanted; more count nothing", "no: any number")
    )


@dataclass(frozen=True, slots=True)
class Products:
    """A whole products file."""

    sizes: str = field(
        default="green",
        metadata=key(
            "sizes",
            one_of("green", "finished"),
            '"green": parts as sawn; "finished": dry sizes, to which shrinkage and surfacing are added',
        ),
    )
    limits: tuple[Limits, ...] = field(default=(), metadata=named_tables("limits", Limits, required=True))
    products: tuple[Product, ...] = field(default=(), metadata=tables("product", Product, required=True))
    dry_to_percent: float | None = field(
        default=None,
        metadata=key(
            "allowance.dry_to_percent",
            number(at_least=0.0, at_most=30.0, what="percentage"),
            'moisture content dried to, for "finished" sizes',
            'where sizes = "finished"',
        ),
    )
    surfacing: float = field(
        default=0.0, metadata=key("allowance.surfacing", length(), "what each face loses to the plane")
    )
    loose_share: float = field(
        default=0.1,
        metadata=key(
            "loose_share",
            number(at_least=0.0, at_most=1.0, what="share"),
            "what a litre of plates in no set counts, to one in sets",
        ),
    )
    currency: str | None = field(default=None, metadata=key("currency", text, "name of the money of all prices"))

    def limits_of(self, product: Product, part: Part | None = None) -> Limits:
        """The limit list that a part names, or its product."""
        name = product.limits if part is None or part.limits is None else part.limits
        return next(one for one in self.limits if one.name == name)
