"""A run of cuts parallel to the fence as it is sawn: the fence is set once for each thickness, slice after slice.

The script measures every cut of a run from the face that lay against the fence at first. At the saw the freshly sawn face goes
to the fence each time, so that slices of one thickness need one setting of it: the planes come out the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pithline.outputs.cut_script.document import Array, Kind, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import SawnPieces, rightward
from pithline.outputs.cut_script.shop_measures import ShopMeasures

ALIKE = 0.05
"""Slices that differ by less than this are of one thickness. [mm]"""


class Slice(NamedTuple):
    """A slice: its thickness [mm], the piece it is, `None` where it is cut again in the same run."""

    thickness: float
    piece: str | None


class Run(NamedTuple):
    """One setting's slices from the fence outwards; how much waste is left beyond the last kerf [mm], and which piece is."""

    setting: ScriptSetting
    slices: tuple[Slice, ...]
    spare: float
    rest: str | None


class FenceSetting(NamedTuple):
    """One setting of the fence: the thickness [mm], by billet the slices it takes off, and what may be lost to rounding. [mm]"""

    thickness: float
    slices: dict[str, tuple[str, ...]]
    spare: float


def run_of(log: SawnPieces, shop: ShopMeasures, setting: ScriptSetting) -> Run | None:
    """The slices of a resaw setting whose cuts are parallel to the face at the fence; `None` of any other."""
    lying, cuts = shop.lying_face(setting), log.cuts_of(setting)
    distances = [shop.from_fence(setting, cut) for cut in cuts]
    if lying is None or not cuts or any(one is None for one in distances):
        return None
    order = sorted(zip((one for one in distances if one is not None), cuts, strict=True), key=lambda pair: pair[0])
    parted = {cut.piece for cut in cuts}
    found, before, outer = [], 0.0, None
    for distance, cut in order:
        toward_fence = float(lying.normal @ cut.normal) > 0.0
        near, far = (cut.above, cut.below) if toward_fence else (cut.below, cut.above)
        piece = near if near not in parted else outer
        found.append(Slice(distance - before, piece))
        before, outer = distance + cut.kerf, far if far not in parted else None
    waste = outer is None or log.kind(outer) is Kind.OFFCUT
    return Run(setting, tuple(found), _left_over(log, setting, lying.normal, before) if waste else 0.0, outer)


def _left_over(log: SawnPieces, setting: ScriptSetting, outward: Array, taken: float) -> float:
    """How much of the piece lies beyond the last kerf, across the slices. [mm]"""
    lying = log.face(setting.piece, setting.against.face) if setting.against else None
    shape = log.section(setting.piece, log.stretch(setting.piece).middle, rightward(outward), outward)
    if shape.is_empty or lying is None:
        return 0.0
    return max(lying.offset - float(shape.bounds[1]) - taken, 0.0)


def fence_settings(runs: Sequence[Run]) -> list[FenceSetting]:
    """Settings of the fence for several billets: each thickness is set once, as far as the order within every billet allows."""
    found: list[FenceSetting] = []
    for run in runs:
        begin, mark = 0, run.setting.piece
        for alike in _alike(run):
            thickness, spare = alike[0].thickness, run.spare / len(run.slices)
            names = tuple(one.piece for one in alike if one.piece is not None)
            place = next((at for at in range(begin, len(found)) if abs(found[at].thickness - thickness) < ALIKE), None)
            if place is None:
                place = len(found)
                found.append(FenceSetting(thickness, {}, spare))
            same = found[place]
            found[place] = FenceSetting(same.thickness, {**same.slices, mark: names}, min(same.spare, spare))
            begin = place + 1
    return found


def _alike(run: Run) -> list[list[Slice]]:
    """Neighbouring slices of one thickness together."""
    found: list[list[Slice]] = []
    for one in run.slices:
        if found and abs(found[-1][0].thickness - one.thickness) < ALIKE:
            found[-1].append(one)
        else:
            found.append([one])
    return found
