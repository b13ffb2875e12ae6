"""One slab as it truly lies: which strips to rip, where to crosscut, which layers of each billet are plates.

The wood is looked at on each layer's own mid-plane and outer planes, so what is chosen here is what is cut.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.plan.problem.log_frame import PlanLog, unusable_on_planes
from pithline.plan.problem.parts import SawnPart, sapwood_kept_out
from pithline.plan.programmes.slab_tables import SURFACE_RESERVE
from pithline.wood.field import Planes, Seen, plane_stack

Array = NDArray[np.float64]

ALONG_STEP = 10.0
PLANE_STEP = 2.5
"""A slab is looked at on planes this far apart through its thickness [mm]; ring angles between them are read linearly."""
CAPPED_SHARE = 0.3
"""A part with a demand counts this share while strips are chosen: it fills gaps but displaces nothing without a demand."""
RESERVES = ((0.3, 65), (0.9, 86), (1.5, 100))
"""Shares of a log's reserve, and of 100 plates that keep just so much how many count: the others are likely to fail."""
NO_RESERVE = ((0.0, 100),)
LAYOUT_ANGLE_RESERVE = np.radians(0.25)
LAYOUT_RUNOUT_RESERVE = np.radians(0.1)


@dataclass(frozen=True, slots=True)
class SlabFrame:
    """A slab between two parallel sawn faces, in the log frame. n·X runs from `low` to `top`."""

    axis: Array
    normal: Array
    lateral: Array
    low: float
    top: float
    bounds: tuple[tuple[Array, float], ...]  # the piece's other faces: normal·X ≤ offset

    def point(self, along: float, across: float, height: float) -> Array:
        """Log-frame point of slab coordinates."""
        return along * self.axis + across * self.lateral + height * self.normal


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


@dataclass(frozen=True, slots=True)
class Saws:
    """The shop's kerfs and limits that shape strips. `height_max`: widest billet the resaw takes."""

    resaw_kerf: float
    rip_kerf: float
    crosscut_kerf: float
    height_max: float

    @property
    def across(self) -> float:
        """Step of places across: a whole part of the rip kerf, so that neighbouring strips share one kerf. [mm]"""
        return self.rip_kerf / max(1, round(self.rip_kerf / 3.0))

    def strip_width(self, width: float) -> float:
        """A strip is ripped to whole steps, so all that a plate holds was looked at. [mm]"""
        return float(np.ceil(width / self.across - 1e-6) * self.across)


@njit(cache=True, fastmath=True)
def _allowed(bad, gone, angle, mean, l, w, before, count, out):
    layers, nx, nu = bad.shape[0], bad.shape[1] - 1, bad.shape[2] - 1
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


def _images(values: NDArray, dtype: type) -> NDArray:
    out = np.zeros((values.shape[0], values.shape[1] + 1, values.shape[2] + 1), dtype)
    np.cumsum(np.cumsum(values, axis=1, dtype=dtype), axis=2, out=out[:, 1:, 1:])
    return out


def layer_count(slab: SlabFrame, part: SawnPart, saws: Saws) -> int:
    """Plates one billet of this slab holds."""
    return int((slab.top - slab.low + saws.resaw_kerf + 0.05) / (part.thickness + saws.resaw_kerf))


def _span(log: PlanLog, slab: SlabFrame) -> tuple[float, float, float, float]:
    """Extent along and across that could hold wood of this slab."""
    field = log.field
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    clocks = np.arange(0, 360, 5)
    e = np.stack([-np.sin(np.radians(clocks)), np.cos(np.radians(clocks))], axis=1)
    points = np.concatenate(
        [
            np.broadcast_to(x[:, None, None], (len(x), len(clocks), 1)),
            field.pith[:, None] + field.radius[:, clocks, None] * e[None],
        ],
        axis=2,
    ).reshape(-1, 3)
    middle = (slab.low + slab.top) / 2
    half = (slab.top - slab.low) / 2 + 30.0
    near = points[np.abs(points @ slab.normal - middle) < half]
    if not len(near):
        return 0.0, 0.0, 0.0, 0.0
    across, along = near @ slab.lateral, near @ slab.axis
    low, high = float(across.min()), float(across.max())
    for normal, offset in slab.bounds:
        lean = float(normal @ slab.lateral)
        # a face square enough to the across direction bounds it; its edge moves a little with height and length
        if abs(lean) > 0.3:
            ends = [
                (offset - h * float(normal @ slab.normal) - a * float(normal @ slab.axis)) / lean
                for h in (slab.low, slab.top)
                for a in (along.min(), along.max())
            ]
            if lean > 0:
                high = min(high, max(ends))
            else:
                low = max(low, min(ends))
    return float(along.min()), float(along.max()), low, high


@dataclass(frozen=True, slots=True)
class SlabView:
    """A slab seen on parallel planes through its thickness, (k, along, across)."""

    heights: Array
    wood: Seen
    unusable: NDArray[np.bool_]


def _look(
    log: PlanLog,
    slab: SlabFrame,
    span: tuple[float, float, float, float],
    counts: tuple[int, int],
    steps: tuple[float, float],
) -> SlabView:
    """Look at the wood of a slab every few millimetres of its thickness, both faces included."""
    heights = np.linspace(slab.low, slab.top, max(2, int(np.ceil((slab.top - slab.low) / PLANE_STEP)) + 1))
    origin = slab.point(span[0], span[2], 0.0)
    planes = Planes(origin, slab.axis, slab.lateral, slab.normal, heights, counts, steps)
    wood = plane_stack(log.conservative, planes)
    unusable = unusable_on_planes(log, planes) | (wood.from_pith < log.pith_radius + 0.5)
    for normal, offset in slab.bounds:
        unusable |= planes.beyond(normal, offset - 0.2)
    return SlabView(heights, wood, unusable)


def _layers(
    looked: SlabView, slab: SlabFrame, part: SawnPart, saws: Saws, sapwood: float, slope_reserve: float
) -> tuple[Array, Array, Array]:
    """Grade, wood and angle images of the layers of one part: bad, gone, angle. Fields between planes are read linearly."""
    n = layer_count(slab, part, saws)
    limits = part.limits
    surface = SURFACE_RESERVE + sapwood_kept_out(limits, sapwood)
    empty = looked.unusable | (looked.wood.depth < surface)
    shape = looked.wood.angle.shape[1:]
    bad, gone, angle = np.empty((n, *shape), bool), np.empty((n, *shape), bool), np.empty((n, *shape), np.float32)
    step = (looked.heights[-1] - looked.heights[0]) / (len(looked.heights) - 1)
    for k in range(n):
        low = k * (part.thickness + saws.resaw_kerf)
        first = int(np.floor(low / step + 1e-9))
        last = min(int(np.ceil((low + part.thickness) / step - 1e-9)), len(looked.heights) - 1)
        gone[k] = empty[first : last + 1].any(axis=0)
        at = (low + part.thickness / 2) / step
        i = min(int(at), len(looked.heights) - 2)
        t = np.float32(at - i)
        angle[k] = looked.wood.angle[i] * (1 - t) + looked.wood.angle[i + 1] * t
        runout = looked.wood.runout[i] * (1 - t) + looked.wood.runout[i + 1] * t
        bad[k] = (angle[k] < limits.ring_angle_min + LAYOUT_ANGLE_RESERVE) | (
            runout > limits.runout_max - slope_reserve
        )
    return _images(bad, np.int32), _images(gone, np.int32), _images(angle, np.float64)


Maps = dict[int, NDArray[np.uint8]]
"""Where plates of a part pass, and how many of 100 count: (layers, across, along) by the part's number."""
SlabCache = dict[bytes, tuple[Maps, tuple[float, float, float, float]]]
"""Maps of slabs already seen, and their spans."""


def lay_out(
    log: PlanLog,
    slab: SlabFrame,
    parts: tuple[SawnPart, ...],
    worth: Array,
    left: Array,
    saws: Saws,
    reserve: bool = True,
    fine: float = 1.0,
    memory: SlabCache | None = None,
) -> tuple[Strip, ...]:
    """Choose strips and billets of one slab.

    Parameters
    ----------
    worth : (p,) array
        What one plate of each part counts.
    left : (p,) array
        Plates of each part still wanted (infinite without a demand); nothing beyond is cut.
    reserve : bool
        Keep the doubts of surface and pith in reserve.
    fine : float
        Multiplies the grid's steps along and across; 1 for what is carried out, 2 for comparing.
    memory : dict, optional
        Filled with what is seen, and read where the same slab comes again for the same log, parts and saws.
    """
    cells = (ALONG_STEP * fine, saws.across * fine)
    usable = [i for i, p in enumerate(parts) if layer_count(slab, p, saws) > 0 and p.width <= saws.height_max]
    if memory is None:
        maps, span = _passing(log, slab, parts, [i for i in usable if left[i] > 0], saws, cells, reserve)
    else:
        key = _key(slab)
        if key not in memory:
            memory[key] = _passing(log, slab, parts, usable, saws, cells, reserve)
        maps, span = memory[key]
        maps = {i: found for i, found in maps.items() if left[i] > 0}
    return _choose(maps, parts, worth, left, saws, span, cells) if maps else ()


def _key(slab: SlabFrame) -> bytes:
    faces = [value for normal, offset in slab.bounds for value in (*normal, offset)]
    return np.round(np.array([*slab.axis, *slab.normal, slab.low, slab.top, *faces]), 9).tobytes()


def _passing(
    log: PlanLog,
    slab: SlabFrame,
    parts: tuple[SawnPart, ...],
    usable: list[int],
    saws: Saws,
    cells: tuple[float, float],
    reserve: bool,
) -> tuple[Maps, tuple[float, float, float, float]]:
    """Where plates of the `usable` parts pass in a slab, and the slab's span."""
    span = _span(log, slab)
    maps: Maps = {}
    if not usable or span[1] - span[0] < 50 or span[3] - span[2] < 20:
        return maps, span
    counts = (int((span[1] - span[0]) / cells[0]) + 1, int((span[3] - span[2]) / cells[1]) + 1)
    seen = _look(log, slab, span, counts, cells)
    before = 0
    for share, count in NO_RESERVE if log.sure or not reserve else RESERVES:
        looked = replace(seen, wood=seen.wood.keeping(share))
        images: dict[tuple, tuple[Array, Array, Array]] = {}
        for i in usable:
            part = parts[i]
            l, w = int(np.ceil(part.length / cells[0] - 1e-6)), int(np.ceil(part.width / cells[1] - 1e-6))
            if l >= counts[0] or w >= counts[1] or (before > 0 and i not in maps):
                continue
            key = (part.thickness, part.limits)
            if key not in images:
                images[key] = _layers(
                    looked, slab, part, saws, log.sapwood, LAYOUT_RUNOUT_RESERVE + share * log.slope_doubt
                )
            bad = images[key][0]
            out = maps[i] if before > 0 else np.zeros((bad.shape[0], counts[1], counts[0]), np.uint8)
            _allowed(*images[key], part.limits.ring_angle_mean + LAYOUT_ANGLE_RESERVE, l, w, before, count, out)
            if out.any():
                maps[i] = out
        before = count
    return maps, span


def _choose(
    maps: dict,
    parts: tuple[SawnPart, ...],
    worth: Array,
    left: Array,
    saws: Saws,
    span: tuple,
    cells: tuple[float, float],
) -> tuple[Strip, ...]:
    nu = next(iter(maps.values())).shape[1]
    widths = sorted({parts[i].width for i in maps})
    plans = {w: _along(maps, parts, worth, left, saws, w, cells[0]) for w in widths}
    rip = int(np.ceil(saws.rip_kerf / cells[1] - 1e-6))
    best = np.zeros(nu + 1)
    taken: list[tuple[float, int] | None] = [None] * (nu + 1)
    for u in range(nu - 1, -1, -1):
        best[u], taken[u] = best[u + 1], None
        for w in widths:
            gain = plans[w][0][u]
            wide = int(np.ceil(w / cells[1] - 1e-6))
            if gain > 0 and u + wide <= nu:
                after = min(u + wide + rip, nu)
                if gain + best[after] > best[u] + 1e-9:
                    best[u], taken[u] = gain + best[after], (w, after)
    remaining = left.astype(float).copy()
    strips: list[Strip] = []
    u = 0
    while u < nu:
        chosen = taken[u]
        if chosen is None:
            u += 1
            continue
        billets = _billets(plans[chosen[0]], maps, parts, remaining, span, u, cells[0])
        if billets:
            strips.append(Strip(span[2] + u * cells[1], chosen[0], billets))
        u = chosen[1]
    return tuple(strips)


@njit(cache=True)
def _best_along(counts, share, long, cross):
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


def _along(
    maps: dict, parts: tuple[SawnPart, ...], worth: Array, left: Array, saws: Saws, width: float, step: float
) -> tuple[Array, NDArray, int]:
    """Best value along for every place across; choices for reading back, and the cells one crosscut takes."""
    members = [i for i in maps if parts[i].width <= width + 1e-6 and parts[i].width >= 0.55 * width]
    counts = np.stack([maps[i].sum(axis=0, dtype=np.int32).T for i in members])
    cross = max(1, int(np.ceil(saws.crosscut_kerf / step - 1e-6)))
    share = np.array([worth[i] * (CAPPED_SHARE if np.isfinite(left[i]) else 1.0) / 100.0 for i in members])
    long = np.array([int(np.ceil(parts[i].length / step - 1e-6)) for i in members])
    best, choice = _best_along(counts, share, long, cross)
    return best, np.append(members, -1)[choice], cross


def _billets(
    plan: tuple, maps: dict, parts: tuple[SawnPart, ...], remaining: Array, span: tuple, u: int, step: float
) -> tuple[Billet, ...]:
    _, choice, cross = plan
    x, out = len(choice) - 1, []
    while x > 0:
        i = int(choice[x, u])
        if i < 0:
            x -= 1
            continue
        start = max(x - int(np.ceil(parts[i].length / step - 1e-6)) - cross, 0)
        layers = [int(k) for k in np.flatnonzero(maps[i][:, u, start])]
        layers = _wanted(layers, remaining[i])
        if layers:
            remaining[i] -= len(layers)
            out.append(Billet(i, span[0] + start * step, tuple(layers)))
        x = start
    return tuple(reversed(out))


def _wanted(layers: list[int], left: float) -> list[int]:
    """The layers to saw to plates when only `left` are still wanted."""
    return layers if len(layers) <= left else layers[: int(left)]
