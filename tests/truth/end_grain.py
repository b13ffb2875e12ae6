"""Photographs of generated end faces with known pith: rings, saw strokes, cracks, light, tilt, bark, what lies behind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Array = NDArray[np.float64]


@dataclass(frozen=True)
class EndGrain:
    """An end face and how it was photographed. Lengths mm, angles degrees; y is down as in the picture."""

    breadth: float = 560.0
    oval: float = 0.04
    pith: tuple[float, float] = (60.0, -40.0)  # off the middle, right and down
    ring: float = 5.0  # mean width along the mean radius
    bark: float = 14.0
    sapwood: float = 30.0
    strokes: float = 0.5  # strength of saw marks against the rings
    strokes_deg: float = 25.0
    cracks: int = 5
    light: float = 0.5  # brightest to darkest side, as a part
    tilt_deg: float = 5.0
    tilt_way_deg: float = 60.0
    noise: float = 0.05
    rings: float = 1.0  # contrast of the rings
    behind: str = "grass"  # "grass", "boards" or "concrete"
    wax: float = 0.0  # how much of the wood a coat hides
    pixels: tuple[int, int] = (1200, 1400)
    fills: float = 0.78  # of the picture's height


@dataclass(frozen=True)
class Photo:
    """The picture (h, w, 3) from 0 to 1 and the truth: tape measures [mm], place of the pith [px], mean ring [mm]."""

    picture: Array
    from_left: float
    from_top: float
    across: float
    down: float
    place: Array
    spacing: float


def photograph(end: EndGrain, seed: int) -> Photo:
    """Draw the face. Same arguments, same picture."""
    rng = np.random.default_rng([0xE9D, seed])
    height, width = end.pixels
    scale = end.fills * height / end.breadth  # px in a mm, facing squarely
    away = 2.5 * end.breadth
    rows, columns = np.mgrid[0:height, 0:width]
    image = np.stack([(columns - width / 2) / scale, (rows - height / 2) / scale], axis=-1)
    plane, to_image = _tilted(image, end, away, scale, (width / 2, height / 2))

    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    phases = rng.uniform(0, 2 * np.pi, 4)
    rim = 0.5 * end.breadth * (1 + end.oval / 2 * np.cos(2 * (turn - phases[0])) + 0.012 * np.cos(3 * turn + phases[1]))
    outline = np.column_stack([rim * np.cos(turn), rim * np.sin(turn)])
    pith = np.array(end.pith)

    off = plane - pith
    at = np.arctan2(off[..., 1], off[..., 0])
    reach = _from(outline, pith, at)
    rho = np.hypot(off[..., 0], off[..., 1]) / reach
    mean_reach = float(_from(outline, pith, turn).mean())
    wood_end = 1 - end.bark / mean_reach

    count = max(int(wood_end * mean_reach / end.ring), 8)
    widths = rng.lognormal(0.0, 0.3, count) * np.linspace(1.25, 0.75, count)
    edges = np.cumsum(widths) / widths.sum() * wood_end
    wobble = 0.15 / count * np.sin(5 * at + phases[2]) + 0.1 / count * np.sin(11 * at + phases[3])
    number = np.searchsorted(edges, np.clip(rho + wobble, 0, wood_end - 1e-9))
    start = np.concatenate([[0.0], edges])
    part = (rho + wobble - start[number]) / (np.append(edges, 1.0)[number] - start[number])
    ring = np.clip(part, 0, 1) ** 2.5 - 0.28

    shade = 0.48 - 0.16 * end.rings * ring
    sap = rho > wood_end - end.sapwood / mean_reach
    shade = shade + 0.14 * sap
    colour = shade[..., None] * np.array([1.15, 0.95, 0.75])
    turned = np.radians(end.strokes_deg)
    stroke = (
        off @ np.array([np.cos(turned), np.sin(turned)])
        + 1.2e-4 * (off @ np.array([-np.sin(turned), np.cos(turned)])) ** 2
    )
    colour += 0.06 * end.strokes * np.sin(2 * np.pi * stroke / 7.0)[..., None]
    colour = _cracked(colour, off, at, rho, end, rng)
    if end.wax:
        colour = (1 - end.wax) * colour + end.wax * np.array([0.62, 0.55, 0.45])
    crust = gaussian_filter(rng.normal(0, 1, (height, width)), 3)
    bark = np.array([0.26, 0.2, 0.16]) * (1 + 0.6 * crust / crust.std() * 0.4)[..., None]
    colour = np.where((rho > wood_end)[..., None], bark, colour)
    colour = np.where((rho > 1)[..., None], _behind(end, rng, (height, width)), colour)
    slope = end.light * ((columns / width - 0.5) * 0.8 + (rows / height - 0.5) * 0.6)
    colour = colour * (1 + slope)[..., None] + rng.normal(0, end.noise, colour.shape)
    across, down = np.ptp(outline, axis=0)
    left, top = pith - outline.min(axis=0)
    return Photo(
        np.clip(gaussian_filter(colour, (0.7, 0.7, 0)), 0, 1), float(left), float(top), float(across), float(down),
        to_image(pith), float(wood_end * mean_reach / count),
    )  # fmt: skip


def _tilted(image: Array, end: EndGrain, away: float, scale: float, middle: tuple[float, float]):
    """Places of the face's plane behind each pixel, seen by a pinhole `away` from its middle, and the way back."""
    tilt, way = np.radians([end.tilt_deg, end.tilt_way_deg])
    e = np.array([np.cos(way), np.sin(way)])
    f = np.array([-e[1], e[0]])
    u, v = image @ e, image @ f
    # a point s·e + t·f of the plane stands at depth away + s·sin(tilt) and shows at s·cos(tilt)·away/depth
    s = u * away / (away * np.cos(tilt) - u * np.sin(tilt))
    depth = away + s * np.sin(tilt)
    plane = s[..., None] * e + (v * depth / away)[..., None] * f

    def back(place: Array) -> Array:
        s, t = place @ e, place @ f
        depth = away + s * np.sin(tilt)
        shown = (s * np.cos(tilt) * e + t * f) * away / depth
        return np.array(middle) + scale * shown

    return plane, back


def _from(outline: Array, pith: Array, at: Array) -> Array:
    """Distance from the pith to the outline in directions `at`."""
    rim = outline - pith
    turned = np.mod(np.arctan2(rim[:, 1], rim[:, 0]), 2 * np.pi)
    order = np.argsort(turned)
    found = np.interp(
        np.mod(at, 2 * np.pi).ravel(), turned[order], np.hypot(rim[:, 0], rim[:, 1])[order], period=2 * np.pi
    )
    return found.reshape(np.shape(at))


def _cracked(colour: Array, off: Array, at: Array, rho: Array, end: EndGrain, rng: np.random.Generator) -> Array:
    distance = np.hypot(off[..., 0], off[..., 1])
    for _ in range(end.cracks):
        way, length = rng.uniform(-np.pi, np.pi), rng.uniform(0.2, 0.9)
        side = distance * np.sin(np.angle(np.exp(1j * (at - way)))) + 3 * np.sin(distance / 25.0)
        open_ = (np.abs(side) < 2.2 * (1 - rho / length)) & (rho < length) & (np.cos(at - way) > 0)
        colour = np.where(open_[..., None], 0.12, colour)
    return colour


def _behind(end: EndGrain, rng: np.random.Generator, shape: tuple[int, int]) -> Array:
    if end.behind == "grass":
        blades = gaussian_filter(rng.normal(0, 1, shape), (5, 1))
        return np.array([0.3, 0.45, 0.2]) * (1 + 0.5 * blades / blades.std() * 0.5)[..., None]
    if end.behind == "boards":
        columns = np.arange(shape[1])
        gaps = np.where(columns % 160 < 6, 0.5, 1.0)
        grain = gaussian_filter(rng.normal(0, 1, shape), (40, 1.5))
        return np.array([0.72, 0.7, 0.66]) * (gaps * (1 + 0.15 * grain / grain.std()))[..., None]
    grit = gaussian_filter(rng.normal(0, 1, shape), 1.5)
    return np.array([0.6, 0.6, 0.62]) * (1 + 0.12 * grit / grit.std())[..., None]
