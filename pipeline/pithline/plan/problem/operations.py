"""Operations of a cut script: settings of a piece on a machine, and cuts. Log frame, mm, kg, minutes; angles in degrees as written."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pithline.mill.limits import LimitCheck, MarkRoom

Vector = tuple[float, float, float]


class Tool(StrEnum):
    """A saw."""

    BUCK = "buck"  # the chain saw that shortens the log
    MILL = "mill"  # the horizontal band mill
    RIP = "rip"
    CROSSCUT = "crosscut"
    RESAW = "resaw"  # the shop's band saw

    @property
    def takes_setting_up(self) -> bool:
        """Whether its minutes are for setting up, so that a setting broken off has taken them all."""
        return self in (Tool.MILL, Tool.BUCK)

    @property
    def on_mill_or_resaw(self) -> bool:
        """Whether it parts logs, halves and bolts into slabs."""
        return self in (Tool.MILL, Tool.RESAW)


class Stage(StrEnum):
    """Whether a piece is sawn green, or dried first."""

    GREEN = "green"
    DRIED = "dried"


class Support(StrEnum):
    """What holds a bolt on the mill, or any piece off it."""

    BED = "bed"  # the mill's bunks, under a sawn face
    FENCE = "fence"
    CRADLE = "cradle"
    V_BLOCKS = "v-blocks"
    TABLE = "table"


@dataclass(frozen=True, slots=True)
class Against:
    """The sawn face that a piece lies against, by the cut that made it, and the angle between it and the blade (0 to 90°)."""

    face: str
    angle_deg: float


@dataclass(frozen=True, slots=True)
class Lift:
    """How high a bunk is raised; `bunk` is its position along the bed. [mm]"""

    bunk: float
    lift: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on an end face, log frame, and its height over the bed. [mm]"""

    name: str
    point: Vector
    height: float


@dataclass(frozen=True, slots=True)
class Marks:
    """The two marks that a setting of a log or half is levelled and measured by."""

    butt: Mark
    top: Mark

    @property
    def mean_height(self) -> float:
        """Height that `BladePlace.from_mark` is measured from. [mm]"""
        return (self.butt.height + self.top.height) / 2


@dataclass(frozen=True, slots=True)
class MillPose:
    """How a piece lies on the mill's bunks: `up` becomes vertical, `roll` is the clock angle that is up. [degrees]

    Logs and halves are levelled by `marks`, and have `room`; a bolt lies on its sawn face, and needs neither.
    """

    up: Vector
    roll: float
    butt_at: float
    lifts: tuple[Lift, ...]
    marks: Marks | None = None
    room: MarkRoom | None = None


@dataclass(frozen=True, slots=True)
class BladePlace:
    """Where the mill's blade stands for a cut: height of the kerf's centre over the bed and over the marks' mean, width of cut.

    A bolt's cuts have no marks.
    """

    height: float
    from_mark: float | None
    width: float


@dataclass(frozen=True, slots=True)
class Setting:
    """One piece posed on a machine before a run of parallel cuts.

    On the mill it has a `pose` (none where a layout is carried out as drawn); off it, a `support`, and what it lies against.
    """

    tool: Tool
    piece: str
    charged: bool
    minutes: float = 0.0
    stage: Stage = Stage.GREEN
    weight_kg: float = 0.0
    checks: tuple[LimitCheck, ...] = ()
    cautions: tuple[str, ...] = ()
    pose: MillPose | None = None
    support: Support | None = None
    against: Against | None = None
    set_up: str = ""  # the set-up that it belongs to; empty where it is not charged
    id: str = ""  # given once it is opened


@dataclass(frozen=True, slots=True)
class Cut:
    """A plane with a kerf that parts a piece in two: normal·X = offset is the kerf's centre, `above` lies where the normal points."""

    id: str
    tool: Tool
    setting: str
    piece: str
    normal: Vector
    offset: float
    kerf: float
    above: str
    below: str
    blade: BladePlace | None = None

    @property
    def sides(self) -> tuple[str, str]:
        """The two pieces that it leaves."""
        return self.above, self.below


Operation = Setting | Cut
