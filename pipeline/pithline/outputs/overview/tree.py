"""What hangs under what on the overview: pieces as they leave a saw, down to the slabs that plates come of."""

from __future__ import annotations

from dataclasses import dataclass

from pithline.outputs.cards.work import card_of
from pithline.outputs.cut_script.document import Kind, Saw, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import SawnPieces

OPENING = (Saw.BUCK, Saw.MILL, Saw.RESAW)
"""Saws that part a log, a half or a bolt into pieces of the tree; ripping and slicing belong to a slab's own row."""


@dataclass(frozen=True, slots=True)
class Node:
    """A piece; `step` the setting that parts it, `None` of a leaf; `plates` those that come of a leaf."""

    piece: str
    step: ScriptSetting | None
    children: tuple[Node, ...]
    plates: tuple[str, ...]

    @property
    def leaves(self) -> tuple[Node, ...]:
        """The leaves under it, itself where it is one, from the top down."""
        return tuple(leaf for child in self.children for leaf in child.leaves) if self.children else (self,)

    @property
    def depth(self) -> int:
        """How many levels hang under it."""
        return 1 + max((child.depth for child in self.children), default=-1)


def tree_of(log: SawnPieces, piece: str = "log") -> Node:
    """The tree under a piece; offcuts are left out, and a log that goes on the mill again as it is stays one piece."""
    step = next((one for one in log.settings if one.piece == piece and one.tool in OPENING), None)
    if step is None or log.kind(piece) in (Kind.SLAB, Kind.BILLET, Kind.PLATE):
        return Node(piece, None, (), _plates(log, piece))
    cuts = log.cuts_of(step)
    parted = {cut.piece for cut in cuts}
    made = [one for cut in cuts for one in cut.pieces if one not in parted and log.kind(one) is not Kind.OFFCUT]
    children: list[Node] = []
    for one in made:
        child = tree_of(log, one)
        again = step.tool is Saw.MILL and log.kind(one) is Kind.LOG and child.children
        children += child.children if again else (child,)
    return Node(piece, step, tuple(children), ())


def _plates(log: SawnPieces, piece: str) -> tuple[str, ...]:
    return tuple(one for one in log.plates_from.get(piece, ()) if card_of(log, one) == card_of(log, piece))
