"""Which piece came of which: the tree that a cut script's cuts make of the log."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from pithline.errors import ScriptError
from pithline.outputs.cut_script.document import (
    CutScript,
    Kind,
    Saw,
    ScriptCut,
    ScriptPiece,
    ScriptPlate,
    ScriptSetting,
    WoodStage,
)
from pithline.outputs.cut_script.kept import kept

ON_THE_MILL = (Saw.MILL, Saw.BUCK)
"""Saws that a piece leaves before it goes to the shop."""


@dataclass(frozen=True, eq=False)
class PieceTree:
    """A cut script indexed by id."""

    script: CutScript
    known: dict[Any, dict[str, Any]] = field(default_factory=dict, repr=False)
    """See `kept`."""

    def __post_init__(self) -> None:
        """Hold the names against one another, so that no page meets one that nothing answers to."""
        settings = {one.id for one in self.script.settings}
        for cut in self.script.cuts:
            for name, known in (
                (cut.setting, settings),
                (cut.piece, self.pieces),
                *((one, self.pieces) for one in cut.pieces),
            ):
                if name not in known:
                    raise _unknown(cut.id, name)
        for piece in self.script.pieces:
            if piece.made_by is not None and piece.made_by not in self.cuts:
                raise _unknown(piece.id, piece.made_by)
        for plate in self.script.plates:
            for name in (plate.id, plate.mate or plate.id):
                if name not in self.pieces:
                    raise _unknown(plate.id, name)

    # -- by id ----------------------------------------------------------------------------------------------------

    @cached_property
    def pieces(self) -> dict[str, ScriptPiece]:
        """Pieces by id."""
        return {one.id: one for one in self.script.pieces}

    @cached_property
    def plates(self) -> dict[str, ScriptPlate]:
        """Plates by piece id."""
        return {one.id: one for one in self.script.plates}

    @cached_property
    def cuts(self) -> dict[str, ScriptCut]:
        """Cuts by id."""
        return {one.id: one for one in self.script.cuts}

    @cached_property
    def settings(self) -> tuple[ScriptSetting, ...]:
        """Settings in working order, dried ones last."""
        return tuple(sorted(self.script.settings, key=lambda one: one.stage is WoodStage.DRIED))

    @cached_property
    def _cuts_by_setting(self) -> dict[str, tuple[ScriptCut, ...]]:
        found: dict[str, list[ScriptCut]] = {one.id: [] for one in self.settings}
        for cut in self.script.cuts:
            found[cut.setting].append(cut)
        return {name: tuple(cuts) for name, cuts in found.items()}

    def cuts_of(self, setting: ScriptSetting) -> tuple[ScriptCut, ...]:
        """The cuts of one setting, in order."""
        return self._cuts_by_setting[setting.id]

    def mark(self, piece: str) -> str:
        """The crayon mark of a piece."""
        return self.pieces[piece].mark

    def kind(self, piece: str) -> Kind:
        """What a piece is."""
        return self.pieces[piece].kind

    # -- ancestry -------------------------------------------------------------------------------------------------

    def parent(self, piece: str) -> str | None:
        """The piece a piece was sawn from; `None` for the whole log."""
        made = self.pieces[piece].made_by
        return self.cuts[made].piece if made else None

    def ancestry(self, piece: str) -> list[str]:
        """A piece and all it came from, the log last."""
        found = [piece]
        while (above := self.parent(found[-1])) is not None:
            found.append(above)
        return found

    def made_by(self, piece: str) -> Iterator[tuple[str, ScriptCut]]:
        """A piece and all it came from, each with the cut that made it, the newest first; the whole log left out."""
        for one in self.ancestry(piece):
            made = self.pieces[one].made_by
            if made is not None:
                yield one, self.cuts[made]

    def from_mill(self, piece: str) -> str:
        """The piece as it came off the mill (or the chain saw) that a piece was made from."""
        for one, cut in self.made_by(piece):
            if cut.tool in ON_THE_MILL:
                return one
        return self.ancestry(piece)[-1]

    @kept
    def own_log(self, piece: str) -> str:
        """The log, whole or crosscut, that a piece belongs to."""
        for one, cut in self.made_by(piece):
            if self.kind(one) is Kind.LOG and cut.tool is Saw.BUCK:
                return one
        return self.ancestry(piece)[-1]

    @cached_property
    def plates_from(self) -> dict[str, list[str]]:
        """The plates that are sawn from a piece, for every piece that gives any, in the order of the script."""
        found: dict[str, list[str]] = {}
        for plate in self.plates:
            for one in self.ancestry(plate):
                found.setdefault(one, []).append(plate)
        return found

    # -- numbers on the wood --------------------------------------------------------------------------------------

    @cached_property
    def cut_numbers(self) -> dict[str, int]:
        """The number of every cut as sheet, cards, templates, preview and crayon say it: 1 is the first.

        A script that was planned anew leaves numbers out: those that stand on wood already keep their meaning.
        """
        own = [re.fullmatch(r"cut-(\d+)", cut) for cut in self.cuts]
        if all(own):
            return {cut: int(found[1]) for cut, found in zip(self.cuts, own, strict=True) if found}
        return {cut: index for index, cut in enumerate(self.cuts, 1)}

    @cached_property
    def mill_numbers(self) -> dict[str, int]:
        """The number of every setting on the mill, by its id: 1 is the first."""
        on_mill = [one.id for one in self.settings if one.tool is Saw.MILL]
        return {name: number for number, name in enumerate(on_mill, 1)}

    # -- what is sawn already, where a log was planned anew ---------------------------------------------------------

    @cached_property
    def sawn(self) -> frozenset[str]:
        """Settings that were sawn before the script was planned anew."""
        return self.script.replan.kept if self.script.replan else frozenset()

    @cached_property
    def ahead(self) -> tuple[ScriptSetting, ...]:
        """Settings still to come, in working order."""
        return tuple(one for one in self.settings if one.id not in self.sawn)

    @property
    def set_ups_ahead(self) -> int:
        """Set-ups still to come: settings of one cradle that follow one another share theirs."""
        return len({one.set_up or one.id for one in self.ahead if one.charged})

    @cached_property
    def in_hand(self) -> tuple[str, ...]:
        """Pieces that exist before the settings still to come, offcuts included, in the order they were sawn."""
        cuts = [one for one in self.cuts.values() if one.setting in self.sawn]
        used = {one.piece for one in cuts}
        return tuple(piece for cut in cuts for piece in cut.pieces if piece not in used)

    def following(self, piece: str) -> ScriptSetting | None:
        """The next setting that a piece goes to; `None` where it goes to none."""
        return next((one for one in self.ahead if one.piece == piece), None)


def _unknown(place: str, name: str) -> ScriptError:
    return ScriptError(
        f"a part of the script is missing or misshapen: {place} names {name}, which is not there; "
        "write it anew with `pithline plan`."
    )
