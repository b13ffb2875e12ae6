"""A cut script as frozen classes: what the file says, and nothing worked out of it.

docs/formats.md tells every key. Lengths mm, volumes mm³, weights kg, angles degrees, points in the log frame, as in
the file. What a script may leave out is `None` or empty here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.model import LogModel

Array = NDArray[np.float64]


class Saw(StrEnum):
    """The saw that a setting is made on."""

    BUCK = "buck"
    MILL = "mill"
    RIP = "rip"
    CROSSCUT = "crosscut"
    RESAW = "resaw"


class WoodStage(StrEnum):
    """Whether the wood is sawn green, or after it has dried."""

    GREEN = "green"
    DRIED = "dried"


class Kind(StrEnum):
    """What a piece is."""

    LOG = "log"
    SLAB = "slab"
    HALF = "half"
    BOLT = "bolt"
    BILLET = "billet"
    PLATE = "plate"
    OFFCUT = "offcut"


@dataclass(frozen=True, slots=True, eq=False)
class ScriptMark:
    """A mark on an end face that the mill is set by: `point` (3,), `height` expected above the bed."""

    name: str
    point: Array
    height: float


@dataclass(frozen=True, slots=True, eq=False)
class EndMarks:
    """The two marks of a mill setting, one on each end of its piece."""

    butt: ScriptMark
    top: ScriptMark

    @property
    def both(self) -> tuple[ScriptMark, ScriptMark]:
        """Butt, top."""
        return self.butt, self.top

    def on(self, end: str) -> ScriptMark:
        """The mark on the end of that name, "butt" or "top"."""
        return self.butt if end == "butt" else self.top


@dataclass(frozen=True, slots=True)
class ScriptLift:
    """A bunk by its position along the bed, and how far it is raised."""

    bunk: float
    lift: float


@dataclass(frozen=True, slots=True)
class HeightRoom:
    """By how much the heights found may differ before a limit of the mill is met."""

    down: float
    up: float


@dataclass(frozen=True, slots=True)
class ScriptAgainst:
    """The sawn face a piece lies against, by the cut that made it, and the angle between it and the blade. [deg]"""

    face: str
    angle: float


@dataclass(frozen=True, slots=True)
class Check:
    """A figure held against a limit of the machine."""

    what: str
    value: float
    limit: float
    clearance_run: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class ScriptSetting:
    """One piece posed on one machine before a run of parallel cuts.

    On the mill `up` (3,) becomes vertical; `marks` are for logs and halves, `against` for bolts that lie on a sawn
    face. Off the mill `support` says what holds the piece.
    """

    id: str
    tool: Saw
    piece: str
    stage: WoodStage
    weight: float
    minutes: float
    charged: bool
    checks: tuple[Check, ...] = ()
    cautions: tuple[str, ...] = ()
    up: Array | None = None
    roll: float | None = None
    butt_at: float = 0.0
    lifts: tuple[ScriptLift, ...] = ()
    marks: EndMarks | None = None
    mark_room: HeightRoom | None = None
    against: ScriptAgainst | None = None
    support: str = ""
    set_up: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ScriptCut:
    """A plane with a kerf that parts one piece in two; what lies within half a kerf of it is sawdust.

    The plane is normal·X = offset. The three last fields are those of a cut on the mill.
    """

    id: str
    tool: Saw
    setting: str
    piece: str
    normal: Array
    offset: float
    kerf: float
    above: str
    below: str
    blade_height: float | None = None
    from_mark: float | None = None
    width: float | None = None

    @property
    def pieces(self) -> tuple[str, str]:
        """What it makes: above, below."""
        return self.above, self.below


@dataclass(frozen=True, slots=True)
class ScriptPiece:
    """A piece with its crayon mark; `made_by` a cut, `None` for the whole log."""

    id: str
    mark: str
    kind: Kind
    made_by: str | None
    volume: float


@dataclass(frozen=True, slots=True, eq=False)
class ScriptPlate:
    """A plate with its grades; `corner` (3,), `edges` (3, 3): length, width and thickness vectors as sawn."""

    id: str
    product: str
    part: str
    set_id: str | None
    mate: str | None
    corner: Array
    edges: Array
    volume: float
    ring_least: float
    ring_mean: float
    runout: float
    limits: str
    passes: bool
    slope: float | None = None
    sapwood: float | None = None
    figure: float | None = None

    @property
    def size(self) -> tuple[float, float, float]:
        """Length, width and thickness as sawn."""
        length, width, thickness = np.linalg.norm(self.edges, axis=1)
        return float(length), float(width), float(thickness)

    @property
    def middle(self) -> Array:
        """Its middle, (3,)."""
        return np.asarray(self.corner + self.edges.sum(axis=0) / 2.0, float)


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over a script; money in the products' currency. What older scripts do not state is `None`."""

    instrument_volume: float
    sets: Mapping[str, int]
    minutes: float
    settings: int
    value: float = 0.0
    plates: int | None = None
    log_volume: float | None = None
    kerf_volume: float | None = None
    offcut_volume: float | None = None
    set_volume: float | None = None
    loose_volume: float | None = None
    loose_value: float | None = None
    labour: float | None = None
    earnings: float | None = None
    set_ups: int | None = None

    @property
    def complete_sets(self) -> dict[str, int]:
        """Products of which there is at least one complete set."""
        return {name: count for name, count in self.sets.items() if count}


@dataclass(frozen=True, slots=True)
class PracticeTotals:
    """The practice layout on the same log: slabs alone, and with its bolts resawn."""

    slabs: Totals
    with_bolts: Totals
    ratio: float | None
    volume_ratio: float | None = None


@dataclass(frozen=True, slots=True)
class LikelySpan:
    """What is likely: one log in ten comes out under `low`, as many over `high`; `middle` is as likely more as less."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Doubts:
    """What scan and card leave open; `cost_of` is instrument volume lost, by what is off."""

    pith_assumed: bool = False
    bark_assumed: bool = False
    instrument_volume: LikelySpan | None = None
    earnings: LikelySpan | None = None
    sets: Mapping[str, LikelySpan] = field(default_factory=dict)
    cost_of: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Rung:
    """One of several plans of a log, from few set-ups to many: its sums, and the customary way's with as many settings.

    Older scripts tell only part of the sums. `title` is empty where the script names none; `chosen` is the plan of this script.
    """

    title: str
    chosen: bool
    totals: Totals
    practice: Totals | None = None
    likely_earnings: float | None = None


@dataclass(frozen=True, slots=True)
class Replan:
    """How a script came of an earlier one: the last cut sawn, settings that are history, what changed.

    `drawn` are cuts still to come whose lines stand on the wood already.
    """

    after: str
    kept: frozenset[str]
    changed: tuple[str, ...]
    relabelled: frozenset[str]
    drawn: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class LogFacts:
    """The log in figures: diameters over bark, `volume` under bark."""

    id: str
    species: str
    length: float
    diameter_butt: float
    diameter_top: float
    volume: float
    sweep: float


@dataclass(frozen=True, slots=True)
class LimitFacts:
    """What plates are held to, in degrees; `None` where the products do not state it."""

    name: str
    ring_least: float | None
    ring_mean: float | None
    runout: float | None
    ring_most: float | None = None
    slope: float | None = None


@dataclass(frozen=True, slots=True)
class MillFacts:
    """What the pages say of the mill; `hour_rate` in money. `cradles` are those its shop owns, for the mill and for the band saw [deg];
    empty in scripts that know none.
    """

    name: str = ""
    kerf: float = 0.0
    scale_reads: str = "centre"
    bunks: tuple[float, ...] = ()
    hour_rate: float = 0.0
    cradles: tuple[float, ...] = ()
    band_saw_cradles: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class ProductFacts:
    """What the parts are sold as: plates in one set of each product, and the name of the money, empty where there is none."""

    plates_in_set: Mapping[str, int]
    currency: str = ""


@dataclass(frozen=True, slots=True)
class ScriptInputs:
    """What of card, mill and products the pages print; `log_cost` is what the log cost, where the card tells."""

    pith_radius: float
    sapwood: float
    mill: MillFacts
    limits: Mapping[str, LimitFacts]
    products: ProductFacts
    log_cost: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class CutScript:
    """The whole file.

    `operations` are settings and cuts in working order. `raw` is the JSON object it was read from, for what is made
    from the very bytes (the plan's hash) and for the solids.
    """

    log: LogFacts
    model: LogModel
    coverage: float
    inputs: ScriptInputs
    operations: tuple[ScriptSetting | ScriptCut, ...]
    pieces: tuple[ScriptPiece, ...]
    plates: tuple[ScriptPlate, ...]
    totals: Totals
    practice: PracticeTotals | None
    doubts: Doubts
    rungs: tuple[Rung, ...]
    cautions: tuple[str, ...]
    replan: Replan | None
    raw: Mapping[str, Any]

    @property
    def settings(self) -> tuple[ScriptSetting, ...]:
        """Settings in working order."""
        return tuple(one for one in self.operations if isinstance(one, ScriptSetting))

    @property
    def cuts(self) -> tuple[ScriptCut, ...]:
        """Cuts in working order."""
        return tuple(one for one in self.operations if isinstance(one, ScriptCut))
