"""One slab as it truly lies: which strips to rip, where to crosscut, which layers of each billet are plates.

The wood is looked at on each layer's own mid-plane and outer planes, so what is chosen here is what is cut.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.mill.products import Limits
from pithline.plan.execute.slab_view import (
    LAYOUT_ANGLE_RESERVE,
    LAYOUT_RUNOUT_RESERVE,
    Images,
    SlabFrame,
    SlabView,
    Span,
    layer_count,
    layer_images,
    look_at_slab,
    span_of,
)
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.task import SawingTask

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.uint8]
ALONG_STEP = 10.0
"""Places along a slab are tried this far apart. [mm]"""
CAPPED_SHARE = 0.3
"""A part with a demand counts this share while strips are chosen: it fills gaps but displaces nothing without a demand."""
RESERVES = ((0.3, 65), (0.9, 86), (1.5, 100))
"""Shares of a log's reserve, and of 100 plates that keep just so much how many count: the others are likely to fail."""
NO_RESERVE = ((0.0, 100),)


@dataclass(frozen=True, slots=True)
class Billet:
    """Part of a strip: [start, start + length] along, from the strip's inner edge; `layers` are those sawn to plates."""

    part: int
    start: float
    layers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """A ripped strip from `place` (across) on, `width` wide, with billets along it in rising order."""

    place: float
    width: float
    billets: tuple[Billet, ...]


@njit(cache=True, fastmath=True)
def _allowed(
    images: Images, mean: float, size: tuple[int, int], mark: tuple[int, int], out: Flags
) -> None:
    """Set `out` (layers, across, along) from mark[0] to mark[1] where a plate of `size` cells keeps its limits."""
    bad, gone, angle = images
    layers, nx, nu = bad.shape[0], bad.shape[1] - 1, bad.shape[2] - 1
    l, w = size
    before, count = mark
    for k in range(layers):
        for u in range(nu - w):
            for x in range(nx - l):
                if out[k, u, x] != before:
                    continue
                a, b, c, d = x + l + 1, u + w + 1, x, u
                if bad[k, a, b] - bad[k, c, b] - bad[k, a, d] + bad[k, c, d] != 0:
                    continue
                if gone[k, a, b] - gone[k, c, b] - gone[k, a, d] + gone[k, c, d] != 0:
                    continue
                if angle[k, a, b] - angle[k, c, b] - angle[k, a, d] + angle[k, c, d] >= mean * (l + 1) * (w + 1):
                    out[k, u, x] = count


Maps = dict[int, Flags]
"""Where plates of a part pass, and how many of 100 count: (layers, across, along) by the part's number."""
SlabCache = dict[bytes, tuple[Maps, Span]]
"""Maps of slabs already seen, and their spans, by the slabs' faces: of one log, one list of parts, the same saws."""


def lay_out(
    log: PlanLog,
    slab: SlabFrame,
    task: SawingTask,
    *,
    reserve: bool = True,
    fine: float = 1.0,
    cache: SlabCache | None = None,
) -> tuple[Strip, ...]:
    """Choose strips and billets of one slab.

    Parameters
    ----------
    log : PlanLog
        The log that the slab comes from.
    slab : SlabFrame
        Where it lies.
    task : SawingTask
        Parts, what a plate of each counts, and how many are still wanted: nothing beyond is cut.
    reserve : bool
        Keep the doubts of surface and pith in reserve.
    fine : float
        Multiplies the grid's steps along and across; 1 for what is carried out, 2 for comparing.
    cache : dict, optional
        Filled with what is seen, and read where the same slab comes again for the same log, parts and saws.

    Returns
    -------
    tuple of Strip
        From the slab's edge at the lowest place across; empty where nothing is worth sawing.
    """
    cells = (ALONG_STEP * fine, task.saws.across * fine)
    looking = _Looking(log, slab, task, cells, reserve)
    usable = [
        i
        for i, part in enumerate(task.parts)
        if layer_count(slab, part, task.saws) > 0 and part.width <= task.saws.height_max
    ]
    if cache is None:
        maps, span = looking.passing([i for i in usable if task.left[i] > 0])
    else:
        key = _key(slab)
        if key not in cache:
            cache[key] = looking.passing(usable)
        maps, span = cache[key]
        maps = {i: found for i, found in maps.items() if task.left[i] > 0}
    return _Packing(maps, task, span, cells).strips() if maps else ()


def _key(slab: SlabFrame) -> bytes:
    faces = [value for normal, offset in slab.bounds for value in (*normal, offset)]
    return np.round(np.array([*slab.axis, *slab.normal, slab.low, slab.top, *faces]), 9).tobytes()


@dataclass(frozen=True, slots=True)
class _Looking:
    """A slab, and how finely it is looked at; `cells` are steps along and across. [mm]"""

    log: PlanLog
    slab: SlabFrame
    task: SawingTask
    cells: tuple[float, float]
    reserve: bool

    def passing(self, usable: list[int]) -> tuple[Maps, Span]:
        """Where plates of the `usable` parts pass, and the slab's span."""
        span = span_of(self.log, self.slab)
        maps: Maps = {}
        if not usable or not span.holds_a_plate:
            return maps, span
        along, across = self.cells
        counts = (int((span.end - span.start) / along) + 1, int((span.high - span.low) / across) + 1)
        seen = look_at_slab(self.log, self.slab, span, counts, self.cells)
        before = 0
        for share, count in NO_RESERVE if self.log.sure or not self.reserve else RESERVES:
            self._mark(maps, replace(seen, wood=seen.wood.keeping(share)), counts, (share, before, count), usable)
            before = count
        return maps, span

    def _mark(
        self,
        maps: Maps,
        seen: SlabView,
        counts: tuple[int, int],
        level: tuple[float, int, int],
        usable: list[int],
    ) -> None:
        """Mark places that keep a share of the reserve; `level` is the share, the mark they have, and the one they get."""
        share, before, count = level
        images: dict[tuple[float, Limits], Images] = {}
        for i in usable:
            part = self.task.parts[i]
            long, wide = (
                int(np.ceil(size / cell - 1e-6))
                for size, cell in zip((part.length, part.width), self.cells, strict=True)
            )
            if long >= counts[0] or wide >= counts[1] or (before > 0 and i not in maps):
                continue
            key = (part.thickness, part.limits)
            if key not in images:
                slope = LAYOUT_RUNOUT_RESERVE + share * self.log.slope_doubt
                images[key] = layer_images(seen, self.slab, part, self.task.saws, self.log.sapwood, slope)
            layers = images[key].bad.shape[0]
            out = maps[i] if before > 0 else np.zeros((layers, counts[1], counts[0]), np.uint8)
            mean = part.limits.ring_angle_mean + LAYOUT_ANGLE_RESERVE
            _allowed(images[key], mean, (long, wide), (before, count), out)
            if out.any():
                maps[i] = out


@dataclass(frozen=True, slots=True)
class _Row:
    """The best rows of billets along a strip of one width: values (across,), choices by place along, cells of one crosscut."""

    values: Array
    choice: Ints  # (along + 1, across): part, −1 for none
    crosscut: int


@dataclass(frozen=True, slots=True)
class _Packing:
    """Strips and billets chosen among the places where plates pass."""

    maps: Maps
    task: SawingTask
    span: Span
    cells: tuple[float, float]

    def strips(self) -> tuple[Strip, ...]:
        """The best strips across the slab, each with its best row of billets."""
        nu = next(iter(self.maps.values())).shape[1]
        across = self.cells[1]
        widths = sorted({self.task.parts[i].width for i in self.maps})
        rows = {width: self._row(width) for width in widths}
        rip = int(np.ceil(self.task.saws.rip_kerf / across - 1e-6))
        best = np.zeros(nu + 1)
        taken: list[tuple[float, int] | None] = [None] * (nu + 1)
        for u in range(nu - 1, -1, -1):
            best[u], taken[u] = best[u + 1], None
            for width in widths:
                gain = rows[width].values[u]
                wide = int(np.ceil(width / across - 1e-6))
                if gain > 0 and u + wide <= nu:
                    after = min(u + wide + rip, nu)
                    if gain + best[after] > best[u] + 1e-9:
                        best[u], taken[u] = gain + best[after], (width, after)
        return self._read_back(rows, taken)

    def _read_back(self, rows: dict[float, _Row], taken: list[tuple[float, int] | None]) -> tuple[Strip, ...]:
        left = self.task.left.astype(float).copy()
        strips: list[Strip] = []
        u, nu = 0, len(taken) - 1
        while u < nu:
            chosen = taken[u]
            if chosen is None:
                u += 1
                continue
            billets = self._billets(rows[chosen[0]], left, u)
            if billets:
                strips.append(Strip(self.span.low + u * self.cells[1], chosen[0], billets))
            u = chosen[1]
        return tuple(strips)

    def _row(self, width: float) -> _Row:
        """Best value along for every place across, of parts that a strip of this width is worth ripping for."""
        parts, step = self.task.parts, self.cells[0]
        members = [i for i in self.maps if NARROWEST * width <= parts[i].width <= width + 1e-6]
        counts = np.stack([self.maps[i].sum(axis=0, dtype=np.int32).T for i in members])
        crosscut = max(1, int(np.ceil(self.task.saws.crosscut_kerf / step - 1e-6)))
        demanded = np.isfinite(self.task.left)
        share = np.array([self.task.worth[i] * (CAPPED_SHARE if demanded[i] else 1.0) / 100.0 for i in members])
        long = np.array([int(np.ceil(parts[i].length / step - 1e-6)) for i in members])
        best, choice = _best_along(counts, share, long, crosscut)
        return _Row(best, np.append(members, -1)[choice], crosscut)

    def _billets(self, row: _Row, left: Array, u: int) -> tuple[Billet, ...]:
        """The row's billets at one place across; `left` is lessened by their plates."""
        step = self.cells[0]
        x, out = len(row.choice) - 1, []
        while x > 0:
            i = int(row.choice[x, u])
            if i < 0:
                x -= 1
                continue
            start = max(x - int(np.ceil(self.task.parts[i].length / step - 1e-6)) - row.crosscut, 0)
            layers = _wanted([int(k) for k in np.flatnonzero(self.maps[i][:, u, start])], left[i])
            if layers:
                left[i] -= len(layers)
                out.append(Billet(i, self.span.start + start * step, tuple(layers)))
            x = start
        return tuple(reversed(out))


NARROWEST = 0.55
"""A part narrower than this share of a strip is not worth one so wide."""


@njit(cache=True)
def _best_along(counts: Ints, share: Array, long: Ints, cross: int) -> tuple[Array, Ints]:
    """Best value of each place across, and the choices (nx + 1, nu); counts (m, nx, nu)."""
    members, nx, nu = counts.shape
    best = np.zeros((nx + 1, nu))
    choice = np.full((nx + 1, nu), -1, np.int64)
    for x in range(1, nx + 1):
        best[x] = best[x - 1]
        for i in range(members):
            start = x - long[i] - cross
            if start < -cross:
                continue
            place = max(start, 0)
            for u in range(nu):
                here = counts[i, place, u]
                if here > 0:
                    gain = here * share[i]
                    if start >= 0:
                        gain += best[place, u]
                    if gain > best[x, u] + 1e-9:
                        best[x, u] = gain
                        choice[x, u] = i
    return best[nx], choice


def _wanted(layers: list[int], left: float) -> list[int]:
    """The layers to saw to plates when only `left` are still wanted."""
    return layers if len(layers) <= left else layers[: int(left)]
