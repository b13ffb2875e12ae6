"""The overview as one PDF: a page for each log that goes on the mill, more where its pieces are many."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from pithline.outputs.cards.pictures import part_name
from pithline.outputs.cut_script.document import Kind, Saw
from pithline.outputs.cut_script.sawn_pieces import LEVEL, UPRIGHT, rings
from pithline.outputs.formatting import count
from pithline.outputs.overview.tree import Node, tree_of
from pithline.outputs.palette import PartLook, looks
from pithline.outputs.pdf.page import MARGIN, PAPERS, new_canvas, shortened, width_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob
from pithline.outputs.results import results_of, sets_in_words
from pithline.outputs.sheet.cautions import FOOT

HEAD, LEGEND = 56.0, 16.0
"""Of a page: for the title, and for a row of the legend. [pt]"""
MOST_ROW, LEAST_ROW = 44.0, 15.0
"""Height of a leaf's row. [pt]"""
COLUMN, TICKS_ROOM = 82.0, 190.0
"""From one level of the tree to the next, and what the last leaves for the plates' boxes. [pt]"""
BOX = 8.0
"""Side of a box to tick. [pt]"""
TICK, TICK_TEXT = 6.0, 6.5
"""Side of a plate's box, and type of its number. [pt]"""
MARK = 10.0
"""Type of a piece's mark. [pt]"""
LEAST_LINE = 6.0
"""Type of what the plan brings, at least. [pt]"""
SAW = 5.5
"""Type of the saw's name under it. [pt]"""
BEND = 7.0
"""From where an edge of the tree turns to the next level. [pt]"""


class Placed(NamedTuple):
    """A node with its place: left edge, middle. [pt]"""

    node: Node
    x: float
    y: float


def overview(job: PrintJob) -> bytes:
    """The tree of pieces, to scale; the same script gives the same bytes."""
    canvas, out = new_canvas(PAPERS[job.paper], f"Overview {job.log.script.log.id}")
    pen, root = Pen(canvas), tree_of(job.log)
    parts = looks(part_name(job.log, plate) for plate in job.log.plates)
    pages = _pages(job, root)
    for number, page in enumerate(pages, 1):
        OverviewPage(job, page, parts).draw(pen, f"page {number} of {len(pages)}")
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _pages(job: PrintJob, root: Node) -> list[list[Node]]:
    """The trees that stand on one page: the whole where it fits, else branches, as many as fit."""
    found: list[list[Node]] = [[]]
    for branch in _branches(job, root):
        if found[-1] and not _fits(job, [*found[-1], branch]):
            found.append([])
        found[-1].append(branch)
    return found


def _branches(job: PrintJob, node: Node) -> list[Node]:
    """A tree, or the branches of it that each fit a page."""
    if _fits(job, [node]) or not node.children:
        return [node]
    return [branch for child in node.children for branch in _branches(job, child)]


def _fits(job: PrintJob, trees: Sequence[Node]) -> bool:
    """Whether trees stand on one page with rows of the least height, or of what their plates need."""
    page = OverviewPage(job, trees, {})
    return sum(page.heights.values()) <= page.room + 1.0


def _nodes(node: Node) -> list[Node]:
    """A node and all that hang under it."""
    return [node, *(one for child in node.children for one in _nodes(child))]


def _levels(node: Node, level: int) -> list[tuple[Node, int]]:
    """The leaves under a node, each with its level."""
    return [one for child in node.children for one in _levels(child, level + 1)] if node.children else [(node, level)]


def _row_height(needs: Sequence[float], room: float) -> float:
    """The height of an ordinary row, so that all rows fill the room but none is higher than `MOST_ROW`. [pt]"""
    low, high = 0.0, MOST_ROW
    for _ in range(30):
        middle = (low + high) / 2.0
        low, high = (middle, high) if sum(max(need, middle) for need in needs) <= room else (low, middle)
    return max(low, LEAST_ROW)


class OverviewPage:
    """One page: a few trees under one another, all pieces at one scale."""

    def __init__(self, job: PrintJob, trees: Sequence[Node], parts: dict[str, PartLook]) -> None:
        self.job, self.log, self.trees, self.parts = job, job.log, trees, parts
        self.width, self.height = PAPERS[job.paper]
        depth = max(one.depth for one in trees)
        self.column = min(COLUMN, (self.width - 2.0 * MARGIN - TICKS_ROOM) / max(depth, 1))
        self.room = self.height - 2.0 * MARGIN - HEAD - LEGEND * (1 + len(self._shown_parts()) // 3) - 14.0
        needs = {leaf.piece: self._need(leaf, level) for tree in trees for leaf, level in _levels(tree, 0)}
        self.row = _row_height(list(needs.values()), self.room)
        self.heights = {piece: max(need, self.row) for piece, need in needs.items()}
        self.scale = self._common_scale()

    def _common_scale(self) -> float:
        """Points to a millimetre at which every piece stands between its mark and the next level, and none is much taller than rows."""
        nodes = [node for tree in self.trees for node in _nodes(tree)]
        sizes = [self._bounds(node.piece) for node in nodes]
        across = [
            (self.column - BEND - 4.0 - self._lead(node)) / max(wide, 1.0)
            for node, (wide, _) in zip(nodes, sizes, strict=True)
        ]
        tallest = max(max(size) for size in sizes)
        return min(*across, 1.9 * self.row / max(tallest, 1.0))

    def _lead(self, node: Node) -> float:
        """From a node's left edge to its picture. [pt]"""
        mark = BOX + 4.0 + width_of(self.log.mark(node.piece), min(MARK, 0.7 * self.row), True)
        return max(mark, width_of(self._saw(node), SAW) + 3.0)

    def _need(self, leaf: Node, level: int) -> float:
        """The least height of a leaf's row, for its plates' boxes. [pt]"""
        if not leaf.plates:
            return LEAST_ROW
        across = self._across(leaf, MARGIN + (level + 0.9) * self.column)
        return max(LEAST_ROW, (TICK + 3.0) * (-(-len(leaf.plates) // across)) + 4.0)

    def _across(self, leaf: Node, x: float) -> int:
        """How many plates' boxes stand on a line that begins at x."""
        return max(1, int((self.width - MARGIN - x) / self._each(leaf)))

    def _each(self, leaf: Node) -> float:
        """Width of a plate's box with its mark. [pt]"""
        return TICK + 5.0 + max(width_of(self.log.mark(plate), TICK_TEXT) for plate in leaf.plates)

    def _tall(self, node: Node) -> float:
        return sum(self.heights[leaf.piece] for leaf in node.leaves)

    def _bounds(self, piece: str) -> tuple[float, float]:
        """Width and height of a piece's end, as it is drawn. [mm]"""
        shape = self.log.section(piece, self.log.stretch(piece).middle, LEVEL, UPRIGHT)
        return (0.0, 0.0) if shape.is_empty else (shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1])

    def draw(self, pen: Pen, page: str) -> None:
        """Title, trees, legend, foot."""
        script, top = self.log.script, self.height - MARGIN
        name = shortened(f"Log {script.log.id}: every piece, ticked as it comes", self.width - 2.0 * MARGIN, 16.0, True)
        pen.text((MARGIN, top - 16.0), name, 16.0, bold=True)
        results = results_of(script)
        room, line = self.width - 2.0 * MARGIN, f"{sets_in_words(results)}; {count(len(self.log.plates), 'plate')}."
        size = min(9.0, room / width_of(line, 1.0))
        pen.text(
            (MARGIN, top - 30.0),
            line if size >= LEAST_LINE else shortened(line, room, LEAST_LINE),
            max(size, LEAST_LINE),
        )
        pen.text((MARGIN, top - 41.0), "Ends as seen facing the butt, all at one scale.", 9.0)
        y = top - HEAD
        for tree in self.trees:
            placed: list[Placed] = []
            self._place(tree, 0, y, placed)
            y -= self._tall(tree)
            self._edges(pen, placed)
            for one in placed:
                self._node(pen, one)
        self._legend(pen, MARGIN + 14.0)
        pen.text((MARGIN, MARGIN - 20.0), shortened(FOOT, self.width - 2.0 * MARGIN, 7.0), 7.0)
        pen.text((self.width - MARGIN, MARGIN - 10.0), page, 8.0, anchor=1.0)

    def _place(self, node: Node, level: int, top: float, placed: list[Placed]) -> float:
        """Place a tree whose first row begins at `top`; its middle."""
        middles, y = [], top
        for child in node.children:
            middles.append(self._place(child, level + 1, y, placed))
            y -= self._tall(child)
        middle = (middles[0] + middles[-1]) / 2.0 if middles else top - self._tall(node) / 2.0
        placed.append(Placed(node, MARGIN + level * self.column, middle))
        return middle

    def _edges(self, pen: Pen, placed: Sequence[Placed]) -> None:
        at = {one.node.piece: one for one in placed}
        for one in placed:
            for child in one.node.children:
                other = at[child.piece]
                bend = other.x - BEND
                pen.line(
                    (one.x + self._lead(one.node) + self.scale * self._bounds(one.node.piece)[0] + 1.0, one.y),
                    (bend, one.y),
                    0.5,
                )
                pen.line((bend, one.y), (bend, other.y), 0.5)
                pen.line((bend, other.y), (other.x - 1.0, other.y), 0.5)

    def _node(self, pen: Pen, one: Placed) -> None:
        """A box to tick, the mark, the end at scale, and the plates of a leaf."""
        log, piece = self.log, one.node.piece
        pen.box((one.x, one.y - BOX / 2.0), BOX, BOX, 0.8)
        text = log.mark(piece)
        size = min(MARK, 0.7 * self.row)
        pen.text((one.x + BOX + 2.0, one.y - 0.36 * size), text, size, bold=True)
        begin = one.x + self._lead(one.node)
        shape = log.section(piece, log.stretch(piece).middle, LEVEL, UPRIGHT)
        if not shape.is_empty:
            low, middle = shape.bounds[0], (shape.bounds[1] + shape.bounds[3]) / 2.0
            for ring in rings(shape):
                pen.polygon(np.array([begin, one.y]) + self.scale * (ring - [low, middle]), 0.7, gray=0.93)
            begin += self.scale * (shape.bounds[2] - low)
        if one.node.step is not None:
            pen.text((one.x, one.y - max(0.36 * size, BOX / 2.0) - SAW - 1.0), self._saw(one.node), SAW)
        elif one.node.plates:
            self._ticks(pen, one.x + 0.9 * self.column, one)
        elif log.kind(piece) is not Kind.PLATE:
            pen.text((begin + 6.0, one.y - 2.5), "set aside" if log.following(piece) is None else "to the shop", 7.0)

    def _saw(self, node: Node) -> str:
        step = node.step
        if step is None:
            return ""
        if step.tool is Saw.MILL:
            return f"mill {self.log.mill_numbers[step.id]}"
        return "crosscut" if step.tool is Saw.BUCK else "band saw"

    def _ticks(self, pen: Pen, x: float, one: Placed) -> None:
        """A box for each plate with its mark, in its part's look, on as many lines as it needs."""
        marks = [(self.log.mark(plate), self.parts[part_name(self.log, plate)]) for plate in one.node.plates]
        each, across = self._each(one.node), self._across(one.node, x)
        lines, step = -(-len(marks) // across), TICK + 3.0
        for place, (mark, look) in enumerate(marks):
            left = x + each * (place % across)
            low = one.y + step * (lines / 2.0 - place // across) - step / 2.0 - TICK / 2.0
            corner = np.array([[left, low], [left + TICK, low], [left + TICK, low + TICK], [left, low + TICK]])
            pen.filled(corner, look, 0.5)
            pen.text((left + TICK + 1.5, low + 0.8), mark, TICK_TEXT)

    def _shown_parts(self) -> list[str]:
        plates = [plate for tree in self.trees for leaf in tree.leaves for plate in leaf.plates]
        return sorted({part_name(self.log, plate) for plate in plates})

    def _legend(self, pen: Pen, y: float) -> None:
        third = (self.width - 2.0 * MARGIN) / 3.0
        for place, name in enumerate(self._shown_parts()):
            x, low = MARGIN + third * (place % 3), y + LEGEND * (place // 3)
            pen.filled(
                np.array([[x, low], [x + 10.0, low], [x + 10.0, low + 10.0], [x, low + 10.0]]), self.parts[name], 0.6
            )
            pen.text((x + 14.0, low + 2.0), shortened(name, third - 18.0, 8.0), 8.0)
