"""Slabs that a layout may spare since nothing comes of them: which there are, and the layout without some of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from pithline.plan.execute.shop import DrawnSlab
from pithline.plan.problem.layout import LayoutSetting

Path = tuple[str, ...]
"""From a layout's first setting to one of its settings: "above" or "below", in turn."""
SIDES = ("above", "below")
Gives = Mapping[DrawnSlab, bool]
"""Of each slab that was sawn, whether anything comes of it."""


class What(StrEnum):
    """What of a setting is spared."""

    ALL = "all"  # the setting with all that follows of it
    RUN = "run"  # the setting: what was to follow is sawn of its whole piece
    TOP = "top"  # its highest slabs
    BOTTOM = "bottom"  # its lowest slabs


@dataclass(frozen=True, slots=True)
class Spared:
    """Something that a layout may do without.

    `start` names the piece that the layout is of; `slabs` counts the highest or lowest ones that are spared. `moves` tells whether a
    piece that is still to be sawn then has its face elsewhere.
    """

    start: str
    path: Path
    what: What
    slabs: int = 0
    moves: bool = False


def may_be_spared(start: str, layout: LayoutSetting | None, gives: Gives) -> tuple[Spared, ...]:
    """All that the layout of one piece may do without, from its first setting on; slabs between two that give something stay.

    Parameters
    ----------
    start : str
        The piece that the layout is of.
    layout : LayoutSetting, optional
        How it is sawn.
    gives : mapping of DrawnSlab to bool
        Of each slab that was sawn, whether anything comes of it. A slab that it lacks was not sawn.
    """
    return () if layout is None else tuple(_Layout(start, gives).spares(layout, ()))


@dataclass(frozen=True, slots=True)
class _Layout:
    """The layout of a piece as it was sawn."""

    start: str
    gives: Gives

    def own(self, setting: LayoutSetting) -> list[bool]:
        """Of each slab of a setting, whether anything comes of it."""
        return [self.gives.get(DrawnSlab(self.start, setting, k), False) for k in range(len(setting.slabs))]

    def needed(self, setting: LayoutSetting | None) -> bool:
        """Whether anything comes of a setting, or of one that follows."""
        return setting is not None and (
            any(self.own(setting)) or any(self.needed(getattr(setting, side)) for side in SIDES)
        )

    def sawn(self, setting: LayoutSetting | None) -> bool:
        """Whether a slab of a setting, or of one that follows, was sawn."""
        if setting is None:
            return False
        slabs = range(len(setting.slabs))
        return any(DrawnSlab(self.start, setting, k) in self.gives for k in slabs) or any(
            self.sawn(getattr(setting, side)) for side in SIDES
        )

    def spares(self, setting: LayoutSetting, path: Path) -> list[Spared]:
        if not self.needed(setting):
            return [Spared(self.start, path, What.ALL)] if self.sawn(setting) else []
        own = self.own(setting)
        needed = {side: self.needed(getattr(setting, side)) for side in SIDES}
        out: list[Spared] = []
        if any(own):
            top, bottom = own.index(True), own[::-1].index(True)
        else:  # one slab stays, to part what lies above it from what lies below
            top = bottom = len(own) - 1
            if setting.role == "bolt" and not all(needed.values()):
                out.append(Spared(self.start, path, What.RUN, moves=True))
        if top:
            out.append(Spared(self.start, path, What.TOP, top, needed["above"]))
        if bottom:
            out.append(Spared(self.start, path, What.BOTTOM, bottom, needed["below"]))
        for side in SIDES:
            child = getattr(setting, side)
            if child is not None:
                out += self.spares(child, (*path, side))
        return out


def without(start: str, layout: LayoutSetting | None, spared: Iterable[Spared]) -> LayoutSetting | None:
    """The layout of the piece `start` without what is spared of it; None where nothing is left."""
    own = [one for one in spared if one.start == start]
    return layout if layout is None or not own else _without(layout, (), own)


def _without(setting: LayoutSetting, path: Path, spared: Sequence[Spared]) -> LayoutSetting | None:
    here = {one.what: one.slabs for one in spared if one.path == path}
    if What.ALL in here:
        return None
    above, below = (
        None if child is None else _without(child, (*path, side), spared)
        for side, child in ((side, getattr(setting, side)) for side in SIDES)
    )
    if What.RUN in here:
        return above or below
    slabs = setting.slabs[here.get(What.TOP, 0) : len(setting.slabs) - here.get(What.BOTTOM, 0)]
    return replace(setting, slabs=slabs or setting.slabs[-1:], above=above, below=below)
