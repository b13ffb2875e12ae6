"""One slab as it truly lies: which strips to rip, where to crosscut, which layers of each billet are plates.

The wood is looked at on each layer's own mid-plane and outer planes, so what is chosen here is what is cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pithline.plan.frame import PlanLog, in_trims
from pithline.plan.parts import SawnPart
from pithline.plan.slabs import SURFACE_RESERVE
from pithline.wood.field import plane_grid
from pithline.wood.unusable import in_defect

Array = NDArray[np.float64]

ALONG = 10.0
ACROSS = 3.0
CAPPED_SHARE = 0.3
"""A part with a demand counts this share while strips are chosen: it fills gaps but displaces nothing without a demand."""
ANGLE_RESERVE = np.radians(0.25)
RUNOUT_RESERVE = np.radians(0.1)


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


@njit(cache=True, fastmath=True)
def _allowed(bad, gone, angle, mean, l, w, out):
    layers, nx, nu = bad.shape[0], bad.shape[1] - 1, bad.shape[2] - 1
    for k in range(layers):
        for u in range(nu - w):
            for x in range(nx - l):
                a, b, c, d = x + l + 1, u + w + 1, x, u
                if bad[k, a, b] - bad[k, c, b] - bad[k, a, d] + bad[k, c, d] != 0:
                    continue
                if gone[k, a, b] - gone[k, c, b] - gone[k, a, d] + gone[k, c, d] != 0:
                    continue
                if angle[k, a, b] - angle[k, c, b] - angle[k, a, d] + angle[k, c, d] >= mean * (l + 1) * (w + 1):
                    out[k, u, x] = 1


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


def _looked_at(
    log: PlanLog, slab: SlabFrame, part: SawnPart, saws: Saws, span: tuple[float, float, float, float], reserve: bool
) -> tuple[Array, Array, Array]:
    """Grade, wood and angle images of the layers of one part: bad, gone, angle."""
    along, last, across, far = span
    nx, nu = int((last - along) / ALONG) + 1, int((far - across) / ACROSS) + 1
    arrays = log.wary if reserve else log.exact
    n = layer_count(slab, part, saws)
    bad, gone, angle = np.empty((n, nx, nu), bool), np.empty((n, nx, nu), bool), np.empty((n, nx, nu))
    steps = np.arange(nx)[:, None, None] * ALONG * slab.axis + np.arange(nu)[None, :, None] * ACROSS * slab.lateral
    limits = part.limits
    surface = SURFACE_RESERVE + (log.sapwood if limits.sapwood == "none" else 0.0)
    planes = 2 + max(1, int(np.ceil(part.thickness / log.pith_radius)))
    for k in range(n):
        low = slab.low + k * (part.thickness + saws.resaw_kerf)
        empty = np.zeros((nx, nu), bool)
        for height in np.linspace(low, low + part.thickness, planes):
            origin = slab.point(along, across, height)
            _, _, inside, pith = plane_grid(arrays, origin, slab.axis, slab.lateral, slab.normal, nx, nu, ALONG, ACROSS)
            empty |= (inside < surface) | (pith < log.pith_radius + 0.5)
            points = (origin + steps).reshape(-1, 3)
            out = in_trims(log, points)
            for normal, offset in slab.bounds:
                out |= points @ normal > offset - 0.2
            for defect in log.defects:
                out |= in_defect(defect, log.model, log.field, points)
            empty |= out.reshape(nx, nu)
        origin = slab.point(along, across, low + part.thickness / 2)
        a, b, _, _ = plane_grid(arrays, origin, slab.axis, slab.lateral, slab.normal, nx, nu, ALONG, ACROSS)
        bad[k] = (a < limits.ring_angle_min + ANGLE_RESERVE) | (b > limits.runout_max - RUNOUT_RESERVE)
        gone[k], angle[k] = empty, a
    return _images(bad, np.int32), _images(gone, np.int32), _images(angle, np.float64)


def lay_out(
    log: PlanLog,
    slab: SlabFrame,
    parts: tuple[SawnPart, ...],
    worth: Array,
    left: Array,
    saws: Saws,
    reserve: bool = True,
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
    """
    span = _span(log, slab)
    usable = [
        i for i, p in enumerate(parts) if layer_count(slab, p, saws) > 0 and left[i] > 0 and p.width <= saws.height_max
    ]
    if not usable or span[1] - span[0] < 50 or span[3] - span[2] < 20:
        return ()
    nx, nu = int((span[1] - span[0]) / ALONG) + 1, int((span[3] - span[2]) / ACROSS) + 1
    maps: dict[int, NDArray[np.uint8]] = {}
    seen: dict[tuple, tuple[Array, Array, Array]] = {}
    for i in usable:
        part = parts[i]
        key = (part.thickness, part.limits)
        if key not in seen:
            seen[key] = _looked_at(log, slab, part, saws, span, reserve)
        l, w = int(np.ceil(part.length / ALONG - 1e-6)), int(np.ceil(part.width / ACROSS - 1e-6))
        out = np.zeros((seen[key][0].shape[0], nu, nx), np.uint8)
        if l < nx and w < nu:
            _allowed(*seen[key], part.limits.ring_angle_mean + ANGLE_RESERVE, l, w, out)
        if out.any():
            maps[i] = out
    if not maps:
        return ()
    return _choose(maps, parts, worth, left, saws, span, nx, nu)


def _choose(
    maps: dict, parts: tuple[SawnPart, ...], worth: Array, left: Array, saws: Saws, span: tuple, nx: int, nu: int
) -> tuple[Strip, ...]:
    widths = sorted({parts[i].width for i in maps})
    plans = {w: _along(maps, parts, worth, left, saws, nx, nu, w) for w in widths}
    rip = int(np.ceil(saws.rip_kerf / ACROSS - 1e-6))
    best = np.zeros(nu + 1)
    taken: list[tuple[float, int] | None] = [None] * (nu + 1)
    for u in range(nu - 1, -1, -1):
        best[u], taken[u] = best[u + 1], None
        for w in widths:
            gain = plans[w][0][u]
            cells = int(np.ceil(w / ACROSS - 1e-6))
            if gain > 0 and u + cells <= nu:
                after = min(u + cells + rip, nu)
                if gain + best[after] > best[u] + 1e-9:
                    best[u], taken[u] = gain + best[after], (w, after)
    remaining = left.astype(float).copy()
    strips: list[Strip] = []
    u = 0
    while u < nu:
        if taken[u] is None:
            u += 1
            continue
        w, after = taken[u]
        billets = _billets(plans[w], maps, parts, remaining, saws, span, u)
        if billets:
            strips.append(Strip(span[2] + u * ACROSS, w, billets))
        u = after
    return tuple(strips)


def _along(
    maps: dict, parts: tuple[SawnPart, ...], worth: Array, left: Array, saws: Saws, nx: int, nu: int, width: float
) -> tuple[Array, NDArray, dict]:
    """Best value along for every place across; choices for reading back."""
    members = [i for i in maps if parts[i].width <= width + 1e-6 and parts[i].width >= 0.55 * width]
    counts = {i: maps[i].sum(axis=0).astype(float) for i in members}  # (nu, nx)
    cross = max(1, int(np.ceil(saws.crosscut_kerf / ALONG - 1e-6)))
    best = np.zeros((nx + cross + 1, nu))
    choice = np.full((nx + cross + 1, nu), -1, np.int64)
    share = {i: worth[i] * (CAPPED_SHARE if np.isfinite(left[i]) else 1.0) for i in members}
    for x in range(1, nx + 1):
        best[x] = best[x - 1]
        for i in members:
            start = x - int(np.ceil(parts[i].length / ALONG - 1e-6)) - cross
            if start < -cross:
                continue
            place = max(start, 0)
            gain = best[max(start, 0)] * (start >= 0) + counts[i][:, place] * share[i]
            better = (counts[i][:, place] > 0) & (gain > best[x] + 1e-9)
            best[x] = np.where(better, gain, best[x])
            choice[x] = np.where(better, i, choice[x])
        same = best[x] <= best[x - 1] + 1e-12
        choice[x] = np.where(same, -1, choice[x])
    return best[nx], choice, {"cross": cross, "nx": nx}


def _billets(
    plan: tuple, maps: dict, parts: tuple[SawnPart, ...], remaining: Array, saws: Saws, span: tuple, u: int
) -> tuple[Billet, ...]:
    _, choice, info = plan
    x, out = info["nx"], []
    while x > 0:
        i = int(choice[x, u])
        if i < 0:
            x -= 1
            continue
        start = max(x - int(np.ceil(parts[i].length / ALONG - 1e-6)) - info["cross"], 0)
        layers = [int(k) for k in np.flatnonzero(maps[i][:, u, start])]
        layers = _wanted(layers, parts[i], remaining[i])
        if layers:
            remaining[i] -= len(layers)
            out.append(Billet(i, span[0] + start * ALONG, tuple(layers)))
        x = start
    return tuple(reversed(out))


def _wanted(layers: list[int], part: SawnPart, left: float) -> list[int]:
    """The layers to saw to plates when only `left` are still wanted."""
    if len(layers) <= left:
        return layers
    return layers[: int(left)]
