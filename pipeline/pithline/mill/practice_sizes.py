"""Sizes of the practice layout that stands beside every plan: common practice, no source. Lengths in mm.

Each field declares the key of the practice file that fills it (`pithline.keys.declared`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from pithline.keys.declared import key
from pithline.keys.readers import length, list_of, whole

_POSITIVE = length(at_least=None, above=0.0)


def _rising(values: Iterable[int]) -> tuple[int, ...]:
    return tuple(sorted(set(values)))


@dataclass(frozen=True, slots=True)
class Practice:
    """A slab through the pith, one from the middle of each half, radial flitches from each bolt (docs/method.md)."""

    centre_slab: float = field(
        metadata=key("practice.centre_slab", _POSITIVE, "thickness of the slab through the pith")
    )
    half_slab: float = field(metadata=key("practice.half_slab", _POSITIVE, "of the slab from the middle of each half"))
    flitch: float = field(metadata=key("practice.flitch", _POSITIVE, "of each radial flitch of a bolt"))
    flitches: tuple[int, ...] = field(
        metadata=key("practice.flitches", list_of(whole(1), 1), "how many to try in each bolt, a list", freeze=_rising)
    )
