"""What a plan has sawn so far: operations, pieces, plates, with ids in working order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Piece
from pithline.plan.execute.grade import PlateGrade
from pithline.plan.problem.operations import BladePlace, Cut, Operation, Setting, Vector

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plate:
    """A plate that was sawn, log frame.

    Attributes
    ----------
    part : int
        Its part's number.
    corner, edges : (3,) arrays
        A corner of its box, and the box's length, width and thickness vectors. [mm]
    billet, layer : str, int
        The piece it was resawn from, and its place through that.
    volume : float
        Of the part's own green size. [mm³]
    role : str
        Of the setting whose slab it came from.
    """

    id: str
    part: int
    corner: Array
    edges: tuple[Array, Array, Array]
    grade: PlateGrade
    billet: str
    layer: int
    volume: float
    role: str = "log"
    mate: str | None = None
    set_id: str | None = None
    figure: float = 1.0  # by which its figure multiplies its price

    @property
    def passes(self) -> bool:
        """Whether it keeps its limits on the fitted log."""
        return self.grade.passes

    @property
    def stations(self) -> tuple[float, float]:
        """How far it reaches along the log, from the butt end. [mm]"""
        low, high = (self.corner[0] + sum(reach(edge[0], 0.0) for edge in self.edges) for reach in (min, max))
        return float(low), float(high)

    @property
    def middle(self) -> Array:
        """The middle of its box, (3,). [mm]"""
        middle: Array = self.corner + sum(self.edges) / 2
        return middle


@dataclass(frozen=True, slots=True)
class NewPiece:
    """Id and kind that a cut gives to what it leaves on one side."""

    id: str
    kind: str


@dataclass(frozen=True, slots=True)
class SawPlane:
    """Where a cut goes: normal·X = offset is the kerf's centre; `blade` tells where the mill's blade then stands. [mm]"""

    normal: Array
    offset: float
    kerf: float
    blade: BladePlace | None = None


@dataclass(slots=True)
class Ledger:
    """Grows while a layout is carried out; nothing is ever taken back."""

    operations: list[Operation] = field(default_factory=list)
    pieces: dict[str, Piece] = field(default_factory=dict)
    made_by: dict[str, str | None] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    plates: list[Plate] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)

    @property
    def settings(self) -> Iterator[Setting]:
        """All settings so far, in working order."""
        return (each for each in self.operations if isinstance(each, Setting))

    @property
    def cuts(self) -> Iterator[Cut]:
        """All cuts so far, in working order."""
        return (each for each in self.operations if isinstance(each, Cut))

    @property
    def minutes(self) -> float:
        """Time of all settings so far. [min]"""
        return float(sum(setting.minutes for setting in self.settings))

    @property
    def charged(self) -> int:
        """Charged settings so far."""
        return sum(setting.charged for setting in self.settings)

    @property
    def set_ups(self) -> int:
        """Distinct set-ups of charged settings so far."""
        return len({setting.set_up or setting.id for setting in self.settings if setting.charged})

    @property
    def passing(self) -> list[Plate]:
        """Plates that pass on the fitted log."""
        return [plate for plate in self.plates if plate.passes]

    def copied(self) -> Ledger:
        """The same as it stands, to go on with apart."""
        return Ledger(
            list(self.operations),
            dict(self.pieces),
            dict(self.made_by),
            set(self.used),
            list(self.plates),
            dict(self.counts),
            list(self.cautions),
        )

    def become(self, other: Ledger) -> None:
        """Take over what another holds."""
        for each in fields(Ledger):
            setattr(self, each.name, getattr(other, each.name))

    def fresh(self, prefix: str) -> str:
        """Next id with this prefix."""
        self.counts[prefix] = self.counts.get(prefix, 0) + 1
        return f"{prefix}{self.counts[prefix]}"

    def named(self, prefix: str, kind: str) -> NewPiece:
        """A piece of a kind, with the next id of this prefix."""
        return NewPiece(self.fresh(prefix), kind)

    def open_setting(self, drafted: Setting) -> Setting:
        """The setting with its id, as the last operation."""
        setting = replace(drafted, id=self.fresh("set-"))
        self.operations.append(setting)
        return setting

    def amend(self, setting: Setting) -> None:
        """Put a setting in the place of the one with its id."""
        self.operations[self._place(setting)] = setting

    def drop(self, setting: Setting) -> None:
        """Take a setting back that needed no cut."""
        del self.operations[self._place(setting)]

    def _place(self, setting: Setting) -> int:
        places = range(len(self.operations) - 1, -1, -1)
        return next(place for place in places if self.operations[place].id == setting.id)

    def cut(
        self,
        setting: Setting,
        piece: Piece,
        plane: SawPlane,
        above: NewPiece,
        below: NewPiece,
    ) -> tuple[Piece, Piece]:
        """Part a piece in two, and say what is left above and below.

        Parameters
        ----------
        setting : Setting
            The one that the cut is made in.
        piece : Piece
            What is parted.
        plane : SawPlane
            Where the kerf's middle lies, and where the blade stands.
        above, below : NewPiece
            Ids and kinds of what is left on the side that the plane's normal points to, and on the other.

        Returns
        -------
        (Piece, Piece)
            What is left above and below.
        """
        name = self.fresh("cut-")
        self.used.add(piece.id)
        over = piece.above(plane.normal, plane.offset, plane.kerf, name, above.id, above.kind)
        under = piece.below(plane.normal, plane.offset, plane.kerf, name, below.id, below.kind)
        for made in (over, under):
            self.pieces[made.id] = made
            self.made_by[made.id] = name
        self.operations.append(
            Cut(
                name,
                setting.tool,
                setting.id,
                piece.id,
                vector(plane.normal),
                float(plane.offset),
                float(plane.kerf),
                over.id,
                under.id,
                plane.blade,
            )
        )
        return over, under

    def rename(self, piece: Piece, prefix: str, kind: str) -> Piece:
        """The last piece of a run turns out to be a slab or a plate: give it such an id where it was made."""
        cut = self.made_by.pop(piece.id)
        del self.pieces[piece.id]
        renamed = replace(piece, id=self.fresh(prefix), kind=kind)
        self.pieces[renamed.id] = renamed
        self.made_by[renamed.id] = cut
        for place in range(len(self.operations) - 1, -1, -1):
            operation = self.operations[place]
            if isinstance(operation, Cut) and operation.id == cut:
                above, below = (renamed.id if side == piece.id else side for side in operation.sides)
                self.operations[place] = replace(operation, above=above, below=below)
                break
        return renamed

    def leaves(self) -> list[str]:
        """Pieces nothing more is done with."""
        return [name for name in self.pieces if name not in self.used]


def vector(values: Array) -> Vector:
    """A (3,) array as plain numbers."""
    x, y, z = (float(value) for value in values)
    return x, y, z
