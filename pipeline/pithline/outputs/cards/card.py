"""One shop card: mark and code, picture, the cuts in working order, the plates with their mates, parts and sets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from reportlab.platypus import Flowable, Table
from shapely.geometry import LineString

from pithline.outputs.cards.pictures import BoltOnBlock, part_name, slab_plan
from pithline.outputs.cards.slices import FenceSetting
from pithline.outputs.cards.work import SawStep, SliceStep, Work
from pithline.outputs.cut_script.document import Array, Saw, ScriptCut
from pithline.outputs.cut_script.sawn_pieces import SawnPieces, straight_parts
from pithline.outputs.ends import EndFace
from pithline.outputs.formatting import count
from pithline.outputs.labels.label_sheets import qr_code
from pithline.outputs.labels.rows import code_text
from pithline.outputs.palette import PartLook
from pithline.outputs.pdf.flow import Drawing, Prose, markup, style, table
from pithline.outputs.pdf.page import BOLD, shortened
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob
from pithline.outputs.sheet.cautions import heavy
from pithline.outputs.shop_words import BY_LINE

TEXT, SMALL, MARK = 8.3, 7.3, 22.0
"""Type of the steps, of what stands beside, and of the mark. [pt]"""
TIGHT = 1.16
"""Line height over type size on a card."""
PADDING = 5.0
"""Round a card's contents. [pt]"""
CODE = 42.0
"""Side of the QR code with its quiet zone. [pt]"""
SWATCH = 11.0
"""Side of a swatch. [pt]"""
FRESH_FACE = "After each slice the fresh face goes to the fence."
SAW_WORDS = {Saw.RIP: "Rip", Saw.CROSSCUT: "Crosscut", Saw.RESAW: "Resaw"}


class _Head(Drawing):
    """Mark, kind and figures at the left, the code at the right."""

    def __init__(self, job: PrintJob, work: Work, width: float) -> None:
        super().__init__(width, CODE)
        self.job, self.work = job, work

    def sketch(self, pen: Pen) -> None:
        """Three lines and a code."""
        log, work, fmt = self.job.log, self.work, self.job.fmt
        pen.text((0.0, self.height - MARK), log.mark(work.piece), MARK, bold=True)
        moved = heavy(work.weight)
        lines = [
            f"{log.kind(work.piece)}, {fmt.weight(work.weight)}{', ' + moved.removesuffix(' off') if moved else ''}",
            f"{count(len(work.plates), 'plate') + ', ' if work.plates else ''}{work.minutes:.0f} min{', when dried' if work.dried else ''}",
            f"lengths in {'inches' if fmt.inches else fmt.units}; log {log.script.log.id}",
        ]
        at = 14.0 + 0.68 * MARK * len(log.mark(work.piece))
        for row, text in enumerate(lines):
            room = self.width - at - CODE - 2.0
            pen.text((at, self.height - 9.0 - row * 10.5), shortened(text, room, SMALL + 1.0), SMALL + 1.0)
        code = code_text(work.piece, self.job.plan)
        qr_code(pen.canvas, code, (self.width - CODE, 0.0), CODE)


class _Swatch(Drawing):
    """The look of a part."""

    def __init__(self, look: PartLook) -> None:
        super().__init__(SWATCH, SWATCH)
        self.look = look

    def sketch(self, pen: Pen) -> None:
        """A filled square."""
        pen.filled(
            np.array([[0.5, 0.5], [SWATCH - 1.0, 0.5], [SWATCH - 1.0, SWATCH - 1.0], [0.5, SWATCH - 1.0]]),
            self.look,
            0.6,
        )


def card(job: PrintJob, work: Work, looks: Mapping[str, PartLook], width: float) -> Table:
    """The card, framed; it parts between its steps only where it is taller than a column."""
    inner = width - 2.0 * PADDING
    rows: list[Flowable] = [_Head(job, work, inner)]
    picture = slab_plan(job, work, looks, inner)
    if picture is not None:
        rows.append(picture)
    rows += _bolt_pictures(job, work, inner)
    lay = [None, *(one.lies for one in work.steps)]
    rows += [
        _step(job, number, step, step.lies == before)
        for number, (step, before) in enumerate(zip(work.steps, lay, strict=False), 1)
    ]
    rows += _lines_by_tape(job, work, inner)
    rows += _plates(job, work, looks, inner)
    return Table([[row] for row in rows], colWidths=[width], hAlign="LEFT", style=[
        ("BOX", (0, 0), (-1, -1), 1.2, "black"), ("LEFTPADDING", (0, 0), (-1, -1), PADDING),
        ("RIGHTPADDING", (0, 0), (-1, -1), PADDING), ("TOPPADDING", (0, 0), (-1, -1), 0.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.0),
        ("TOPPADDING", (0, 0), (-1, 0), 3.0), ("BOTTOMPADDING", (0, -1), (-1, -1), 4.0),
    ])  # fmt: skip


# -- the steps --------------------------------------------------------------------------------------------------------


def _step(job: PrintJob, number: int, step: SawStep | SliceStep, as_before: bool) -> Flowable:
    """A numbered step; how the piece lies is not said again where it lies as in the step before."""
    return Prose(f'<bullet bulletIndent="0">{number}</bullet>{markup(step_words(job, step, as_before))}',
                     style(TEXT, leading=TIGHT * TEXT, leftIndent=12.0, bulletFontName=BOLD, bulletFontSize=TEXT))  # fmt: skip


def step_words(job: PrintJob, step: SawStep | SliceStep, as_before: bool = False) -> str:
    """A step in words; strong ones stand between double asterisks. How the piece lies is left out where that is `as_before`."""
    lies = "" if as_before else step.lies
    return _sliced(job, step, lies) if isinstance(step, SliceStep) else _sawn(job, step, lies)


def _sawn(job: PrintJob, step: SawStep, lies: str) -> str:
    marks = " ".join(job.log.mark(one) for one in step.gives)
    cuts = ", ".join(f"{place.number} {place.where}" if place.where == BY_LINE else f"{place.number} at **{_bare(job, place.where)}**"
                     for place in step.places)  # fmt: skip
    how = "; ".join(one for one in (lies, step.measured_from) if one)
    gives = f" → {marks}" if marks else ""
    return f"**{SAW_WORDS[step.tool]} {job.log.mark(step.piece)}**{f' {how}' if how else ''}: {cuts or 'nothing to saw'}{gives}"


def _bare(job: PrintJob, where: str) -> str:
    """A place without its unit, which the card says once."""
    return where.replace(f" {job.fmt.units}", "")


def _sliced(job: PrintJob, step: SliceStep, lies: str) -> str:
    """Billets flat to the fence: each setting of it with the slices it takes off, mates joined by +."""
    parts = [f"**Fence {job.fmt.fence(fence.thickness, fence.spare)}**: {_taken(job, fence)}" for fence in step.fences]
    if step.rests:
        parts.append(
            "Left: " + ", ".join(f"{job.log.mark(piece)} of {job.log.mark(billet)}" for billet, piece in step.rests)
        )
    return f"**Resaw**{f', {lies}' if lies else ''}. {'. '.join(parts)}"


def _taken(job: PrintJob, fence: FenceSetting) -> str:
    log = job.log
    found = []
    for billet, pieces in fence.slices.items():
        marks = [log.mark(one) for one in pieces]
        mates = {log.mark(one): log.mark(log.plates[one].mate or one) for one in pieces if one in log.plates}
        text = "".join(
            (mark if not row else ("+" if mates.get(marks[row - 1]) == mark else " ") + mark)
            for row, mark in enumerate(marks)
        )
        found.append(
            f"{log.mark(billet)} ({count(len(pieces), 'slice')}: {text})" if pieces else f"{log.mark(billet)} (trim)"
        )
    return ", ".join(found)


# -- bolts ------------------------------------------------------------------------------------------------------------


def _bolt_pictures(job: PrintJob, work: Work, width: float) -> list[Flowable]:
    """A bolt at the band saw, two pictures in a row, one a setting."""
    pictures: list[Flowable | str] = [BoltOnBlock(job, one, width / 2.0 - 4.0) for one in work.on_band_saw]
    rows = [pictures[at : at + 2] for at in range(0, len(pictures), 2)]
    return [Table([row + [""] * (2 - len(row))], colWidths=[width / 2.0, width / 2.0], hAlign="LEFT",
                  style=[("LEFTPADDING", (0, 0), (-1, -1), 0.0), ("RIGHTPADDING", (0, 0), (-1, -1), 4.0)]) for row in rows]  # fmt: skip


def _lines_by_tape(job: PrintJob, work: Work, width: float) -> list[Flowable]:
    """Lines of a bolt that no cradle of the shop holds, on both of its ends, by tape from the corners of its first block's face."""
    steps = [one for one in work.steps if isinstance(one, SawStep) and one.tool is Saw.RESAW and not one.setting.set_up]
    log = job.log
    own = [one.cut for one in log.faces(work.piece) if not one.across_log]
    asked = [one.setting.against.face for one in steps if one.setting.against is not None]
    face = next((one for one in (*asked, *own) if one in own), None)
    if not steps or face is None:
        return []
    rows: list[list[str] | str] = []
    for step in steps:
        for cut in log.cuts_of(step.setting):
            rows += [_line_row(job, work.piece, face, end, cut) for end in log.ends(work.piece)]
    title = (f"Lines by tape from the corners of face {log.cut_numbers[face]} on each end, A nearer the pith, B farther: draw them all "
             "first.")  # fmt: skip
    made = table(["line", "end", "outer, A", "B", "inner, A", "B"], rows, [width * part for part in (0.12, 0.12, 0.19, 0.19, 0.19, 0.19)],
                 SMALL - 0.3)  # fmt: skip
    return [Prose(markup(title), style(SMALL)), made]


def _line_row(job: PrintJob, bolt: str, face: str, end: EndFace, cut: ScriptCut) -> list[str]:
    """One line on one end; where it or its corners miss the end, that the block and arris A alone set it."""
    log, bare = job.log, job.fmt.bare
    corners, points = edge_on(log, bolt, face, end), line_on(log, bolt, cut, end)
    number = str(log.cut_numbers[cut.id])
    if corners is None or points is None:
        return [number, end.name, "misses", "this end:", "block and", "A set it"]
    taped = [bare(float(np.hypot(*(point - corner)))) for point in points for corner in corners]
    return [number, end.name, *taped]


def edge_on(log: SawnPieces, piece: str, face: str, end: EndFace) -> Array | None:
    """The two ends of a sawn face's edge on an end face, (2, 2): nearer the pith, farther; `None` where it has none there."""
    own = log.face(piece, face)
    line = end.line(own.normal, own.offset - 1e-6) if own is not None else None
    return (
        None
        if line is None
        else _extremes(straight_parts(log.part_of_end(piece, end).intersection(LineString(line))), 1.0)
    )


def line_on(log: SawnPieces, piece: str, cut: ScriptCut, end: EndFace) -> Array | None:
    """Outer and inner point (2, 2) of a cut's line on a piece's end, over any gap in it; `None` where it misses."""
    line = end.line(cut.normal, cut.offset)
    if line is None:
        return None
    return _extremes(straight_parts(log.part_of_end(piece, end).intersection(LineString(line))), -1.0)


def _extremes(parts: Sequence[Array], order: float) -> Array | None:
    """The two farthest points of stretches of one line, by their distance from the pith."""
    if not parts:
        return None
    points = np.vstack(parts)
    along = points[-1] - points[0]
    if float(np.hypot(*along)) < 1.0:
        along = points.max(axis=0) - points.min(axis=0)
    place = points @ along
    two = points[[int(np.argmin(place)), int(np.argmax(place))]]
    return np.asarray(two[np.argsort(order * np.hypot(two[:, 0], two[:, 1]))], float)


# -- plates -----------------------------------------------------------------------------------------------------------


def _plates(job: PrintJob, work: Work, looks: Mapping[str, PartLook], width: float) -> list[Flowable]:
    """The parts by their looks, with how many there are, and the sets that plates belong to."""
    groups: dict[str, list[str]] = {}
    for plate in work.plates:
        groups.setdefault(part_name(job.log, plate.id), []).append(plate.id)
    small = style(SMALL, leading=TIGHT * SMALL)
    rows = [[_Swatch(looks[name]), Prose(markup(f"**{name}** ×{len(plates)}{_in_sets(job.log, plates)}"), small)]
            for name, plates in groups.items()]  # fmt: skip
    if not rows:
        return []
    return [Table(rows, colWidths=[SWATCH + 3.0, width - SWATCH - 3.0], hAlign="LEFT", style=[
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0.0), ("RIGHTPADDING", (0, 0), (-1, -1), 0.0),
        ("TOPPADDING", (0, 0), (-1, -1), 0.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
    ])]  # fmt: skip


def _in_sets(log: SawnPieces, plates: Sequence[str]) -> str:
    """Which of the plates are in which set, mates joined by +; plates that fail."""
    sets: dict[str, list[str]] = {}
    for plate in plates:
        name = log.plates[plate].set_id
        if name:
            sets.setdefault(name, []).append(log.mark(plate))
    text = "; ".join(f"{name}: {'+'.join(marks)}" for name, marks in sets.items())
    loose = sum(log.plates[one].set_id is None and log.plates[one].passes for one in plates)
    failing = [log.mark(one) for one in plates if not log.plates[one].passes]
    parts = [text] if text else []
    if loose and text:
        parts.append(f"{loose} in no set")
    elif loose:
        parts.append("in no set")
    if failing:
        parts.append(f"fail: {' '.join(failing)}")
    return f": {'; '.join(parts)}" if parts else ""
