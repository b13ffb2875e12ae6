"""A layout: which settings a log is taken through, drawn in the chord frame before anything is rounded or posed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LayoutSlab:
    """One slab of a setting: its lower face lies `low` mm from the pith's chord along the setting's normal."""

    low: float
    thickness: float

    @property
    def top(self) -> float:
        """Offset of the upper face. [mm]"""
        return self.low + self.thickness


@dataclass(frozen=True, slots=True)
class LayoutSetting:
    """Parallel cuts of one piece; slabs from the top down. `clock` is the clock angle of the normal [rad].

    `above` and `below` say what is done with the piece left over the highest and under the lowest slab; None leaves it.
    `prices` are what one plate of each part counts while the slabs are laid out; None: what it counts anyway.
    `lean` is the normal's part along the log (a cosine) in cuts that are read back from a script; None: the layout is new.
    """

    clock: float
    slabs: tuple[LayoutSlab, ...]
    above: LayoutSetting | None = None
    below: LayoutSetting | None = None
    role: str = "log"  # "log" | "half" | "bolt"
    prices: tuple[float, ...] | None = None
    lean: float | None = None


def settings_of(setting: LayoutSetting | None) -> tuple[LayoutSetting, ...]:
    """All settings of a layout in working order: a piece's own, then the one above, then the one below."""
    if setting is None:
        return ()
    return (setting, *settings_of(setting.above), *settings_of(setting.below))


@dataclass(frozen=True, slots=True)
class Locks:
    """What the sawyer has decided already; the search keeps to it.

    `roll` is the clock angle up at the first setting of every log [rad], `first_slab` the thickness of the one slab that this
    setting takes [mm], `settings_max` the most charged settings, `bolts` whether bolts are sawn at all.
    """

    roll: float | None = None
    first_slab: float | None = None
    settings_max: int | None = None
    bolts: bool = True


NO_LOCKS = Locks()
