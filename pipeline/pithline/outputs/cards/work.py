"""What is done to one slab or bolt in the shop, step by step, as its card says it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pithline.outputs.cards.slices import FenceSetting, Run, fence_settings, run_of
from pithline.outputs.cut_script.document import Kind, Saw, ScriptCut, ScriptPlate, ScriptSetting, WoodStage
from pithline.outputs.cut_script.sawn_pieces import SawnPieces, rightward
from pithline.outputs.cut_script.tree import ON_THE_MILL
from pithline.outputs.print_job import PrintJob
from pithline.outputs.shop_words import bench_of

SLIVER = 10.0
"""Between two crosscuts less than this is not sawn off: one cut through its middle leaves both pieces a hair longer. [mm]"""
LEAST_STRIP = 3.0
"""A strip nowhere wider than this is left on. [mm]"""
OFF_THE_MILL = (Saw.RIP, Saw.CROSSCUT, Saw.RESAW)


class StepPlace(NamedTuple):
    """A cut of a step: its number on the wood, or two of them, and where it runs."""

    number: str
    where: str


@dataclass(frozen=True, slots=True)
class SawStep:
    """Rips or crosscuts of one piece, or a bolt on its block: how it lies, what is measured from, each cut, what is kept."""

    tool: Saw
    piece: str
    lies: str
    measured_from: str
    places: tuple[StepPlace, ...]
    gives: tuple[str, ...]
    setting: ScriptSetting


@dataclass(frozen=True, slots=True)
class SliceStep:
    """Billets flat to the fence, thickness by thickness; `lies` as all of them do; `rests` what is kept of a billet beyond its slices."""

    lies: str
    fences: tuple[FenceSetting, ...]
    rests: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Work:
    """One card: the piece, its weight [kg], its steps, the plates that come of it, and whether it is sawn when dried.

    `on_band_saw` are the settings in which a half or a bolt stands at the band saw.
    """

    piece: str
    weight: float
    minutes: float
    steps: tuple[SawStep | SliceStep, ...]
    plates: tuple[ScriptPlate, ...]
    dried: bool
    on_band_saw: tuple[ScriptSetting, ...] = ()


def card_of(log: SawnPieces, piece: str) -> str:
    """The piece on whose card the work on a piece stands: the first slab on its way from the mill, else as it left the mill."""
    found = piece
    for one in log.ancestry(piece):
        made = log.pieces[one].made_by
        found = one if log.kind(one) is Kind.SLAB else found
        if made is None or log.cuts[made].tool in ON_THE_MILL:
            return found if log.kind(found) is Kind.SLAB else one
    return found


def works_of(job: PrintJob) -> list[Work]:
    """The cards of a script in working order, those of dried wood last."""
    log, found = job.log, []
    for stage in WoodStage:
        for piece, settings in _settings_by_card(log, stage).items():
            weight = max(one.weight for one in settings)
            minutes = sum(one.minutes for one in settings)
            plates = tuple(log.plates[one] for one in log.plates_from.get(piece, ()) if card_of(log, one) == piece)
            standing = tuple(
                one for one in settings if one.tool is Saw.RESAW and log.kind(one.piece) in (Kind.HALF, Kind.BOLT)
            )
            steps = tuple(_steps(job, settings))
            found.append(Work(piece, weight, minutes, steps, plates, stage is WoodStage.DRIED, standing))
    return found


def carded_pieces(log: SawnPieces) -> set[str]:
    """The pieces that have a card."""
    return {piece for stage in WoodStage for piece in _settings_by_card(log, stage)}


def _settings_by_card(log: SawnPieces, stage: WoodStage) -> dict[str, list[ScriptSetting]]:
    groups: dict[str, list[ScriptSetting]] = {}
    for setting in log.ahead:
        if setting.tool in OFF_THE_MILL and setting.stage is stage:
            groups.setdefault(card_of(log, setting.piece), []).append(setting)
    return groups


def _steps(job: PrintJob, settings: Sequence[ScriptSetting]) -> Iterator[SawStep | SliceStep]:
    """Steps in working order; billets that follow one another at the band saw share the settings of its fence."""
    pending: list[Run] = []
    for setting in settings:
        run = run_of(job.log, job.shop, setting) if setting.tool is Saw.RESAW else None
        if run is not None:
            if pending and _lies(job, pending[0].setting) != _lies(job, setting):
                yield _sliced(job, pending)
                pending = []
            pending.append(run)
            continue
        if pending and _comes_of(job.log, setting.piece, pending):
            yield _sliced(job, pending)
            pending = []
        yield _sawn(job, setting)
    if pending:
        yield _sliced(job, pending)


def _lies(job: PrintJob, setting: ScriptSetting) -> str:
    return bench_of(job, setting).lies


def _comes_of(log: SawnPieces, piece: str, runs: Sequence[Run]) -> bool:
    """Whether a piece is made by slices that are still to be taken."""
    sliced = {run.setting.piece for run in runs}
    return any(one in sliced for one in log.ancestry(piece))


def _sliced(job: PrintJob, runs: Sequence[Run]) -> SliceStep:
    kept = [
        (run.setting.piece, run.rest)
        for run in runs
        if run.rest is not None and job.log.kind(run.rest) is not Kind.OFFCUT
    ]
    return SliceStep(_lies(job, runs[0].setting), tuple(fence_settings(runs)), tuple(kept))


# -- rips, crosscuts, bolts -------------------------------------------------------------------------------------------


def _sawn(job: PrintJob, setting: ScriptSetting) -> SawStep:
    log, bench = job.log, bench_of(job, setting)
    cuts = log.cuts_of(setting)
    places = [StepPlace(str(log.cut_numbers[cut.id]), where) for cut, where in zip(cuts, bench.places, strict=True)]
    if setting.tool is Saw.CROSSCUT:
        places = _without_slivers(job, setting, cuts)
    elif setting.tool is Saw.RIP:
        places = [place for place, cut in zip(places, cuts, strict=True) if not _is_thin_strip(job, setting, cut)]
    parted = {cut.piece for cut in cuts}
    gives = tuple(one for cut in cuts for one in cut.pieces if one not in parted and log.kind(one) is not Kind.OFFCUT)
    return SawStep(setting.tool, setting.piece, bench.lies, bench.measured_from, tuple(places), gives, setting)


def _without_slivers(job: PrintJob, setting: ScriptSetting, cuts: Sequence[ScriptCut]) -> list[StepPlace]:
    """Crosscuts by their distance from the butt end; two with a sliver between them are one cut through its middle."""
    log, length = job.log, job.fmt.length
    at = sorted(((job.shop.from_butt(setting, cut), cut) for cut in cuts), key=lambda pair: pair[0])
    offcuts = {one for cut in cuts for one in cut.pieces if log.kind(one) is Kind.OFFCUT}
    found: list[StepPlace] = []
    waiting: tuple[float, ScriptCut] | None = None
    for along, cut in at:
        if waiting is not None and _sliver_between(waiting, (along, cut), offcuts):
            numbers = f"{log.cut_numbers[waiting[1].id]}/{log.cut_numbers[cut.id]}"
            found[-1] = StepPlace(numbers, length((along + waiting[0]) / 2.0))
            waiting = None
            continue
        found.append(StepPlace(str(log.cut_numbers[cut.id]), length(along)))
        waiting = (along, cut)
    return found


def _sliver_between(one: tuple[float, ScriptCut], other: tuple[float, ScriptCut], offcuts: set[str]) -> bool:
    """Whether two crosscuts leave nothing but a sliver between them."""
    (low, first), (high, second) = one, other
    wide = high - low - (first.kerf + second.kerf) / 2.0
    between = set(first.pieces) & set(second.pieces) | (set(first.pieces) | set(second.pieces)) & offcuts
    return wide < SLIVER and bool(between)


def _is_thin_strip(job: PrintJob, setting: ScriptSetting, cut: ScriptCut) -> bool:
    """Whether a rip takes off no more than a strip too thin to saw, and nothing later goes by the face it would leave."""
    log = job.log
    if any(_goes_by(job, one, cut.id) for one in log.ahead):
        return False
    waste = [one for one in cut.pieces if log.kind(one) is Kind.OFFCUT]
    lying = job.shop.lying_face(setting)
    if lying is None:
        return False
    right, up = rightward(-lying.normal), -lying.normal
    for piece in waste:
        stretch = log.stretch(piece)
        sections = [
            log.section(piece, float(x), right, up) for x in np.linspace(stretch.low + 1.0, stretch.high - 1.0, 3)
        ]
        if max((one.bounds[2] - one.bounds[0] for one in sections if not one.is_empty), default=0.0) < LEAST_STRIP:
            return True
    return False


def _goes_by(job: PrintJob, setting: ScriptSetting, cut: str) -> bool:
    """Whether a setting lies on the face of a cut, or measures from it."""
    reference = job.shop.rip_references.get(setting.id)
    return bool((setting.against and setting.against.face == cut) or (reference and reference.face == cut))
