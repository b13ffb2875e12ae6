"""Scans of generated logs as a phone in a yard would give them, and the cards that go with them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .logs import MARGIN, TrueLog, clock_of, direction

Array = NDArray[np.float64]
UNITS = {"m": 1000.0, "cm": 10.0, "mm": 1.0, "in": 25.4, "ft": 304.8}


@dataclass(frozen=True)
class Yard:
    """How a log lies and is scanned. Lengths mm, angles degrees."""

    points: int = 150_000
    hidden_deg: float = 90.0  # of the girth, underneath
    noise: float = 2.0
    ridges: float = 3.0  # depth of bark furrows
    heading_deg: float = 37.0  # of the log's axis in the scan's horizontal plane
    pitch_deg: float = 1.5  # how much the top end is raised
    ground_slope_deg: float = 4.0
    ground: bool = True
    bearers: bool = True
    clutter: bool = True
    strays: float = 0.01  # fraction of points
    uneven: float = 0.6  # how much denser the near side is
    holes: int = 3
    ends: tuple[bool, bool] = (True, True)  # whether butt and top faces were scanned
    drift: float = 0.0  # between the two flanks
    up: str = "+z"
    unit: str = "m"
    origin: tuple[float, float, float] = (3200.0, -1450.0, 800.0)


@dataclass(frozen=True)
class Scan:
    """A simulated scan: points (n, 3) in its own unit, and what is true of it."""

    points: Array
    truth_to_scan: Array  # (4, 4), mm of the true log frame to scan units
    pith_butt: Array  # (3,) in scan coordinates
    pith_top: Array
    unit: str
    up: str


def pose(yard: Yard) -> Array:
    """(4, 4) from the true log frame (mm) to scan units: true z is plumb made square to the axis."""
    yaw, pitch = np.radians([yard.heading_deg, yard.pitch_deg])
    x = np.array([np.cos(yaw) * np.cos(pitch), np.sin(yaw) * np.cos(pitch), np.sin(pitch)])
    z = np.array([0.0, 0, 1]) - x[2] * x
    z /= np.linalg.norm(z)
    turn = np.column_stack([x, np.cross(z, x), z])
    # a proper rotation that brings +z to the scan's own up
    axes = {
        "+z": np.eye(3),
        "+y": np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]]),
        "+x": np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]]),
        "-z": np.diag([1.0, -1, -1]),
    }[yard.up]
    out = np.eye(4)
    out[:3, :3] = axes @ turn / UNITS[yard.unit]
    out[:3, 3] = axes @ np.asarray(yard.origin) / UNITS[yard.unit]
    return out


def simulate_scan(log: TrueLog, seed: int, yard: Yard | None = None, **changes) -> Scan:
    """A scan of `log`; `changes` are fields of `Yard`. Same arguments, same scan."""
    yard = Yard(**changes) if yard is None else yard
    rng = np.random.default_rng([0x5CA7, seed])
    shares = {"bark": 0.70, "ends": 0.10, "ground": 0.12, "bearers": 0.04, "clutter": 0.04}
    count = {name: int(share * yard.points) for name, share in shares.items()}
    parts = [_bark(log, yard, rng, count["bark"]), _end_faces(log, yard, rng, count["ends"])]
    if yard.bearers:
        parts.append(_bearers(log, rng, count["bearers"]))
    if yard.ground:
        parts.append(_ground(log, yard, rng, count["ground"]))
    if yard.clutter:
        parts.append(_clutter(log, rng, count["clutter"]))
    cloud = np.concatenate(parts)
    if yard.strays:
        low, high = cloud.min(0) - 200, cloud.max(0) + 200
        cloud = np.concatenate([cloud, rng.uniform(low, high, (int(yard.strays * yard.points), 3))])
    cloud = cloud[rng.permutation(len(cloud))]
    matrix = pose(yard)
    (butt, _), (top, _) = log.end_planes()

    def moved(points: Array) -> Array:
        return points @ matrix[:3, :3].T + matrix[:3, 3]

    return Scan(moved(cloud), matrix, moved(butt), moved(top), yard.unit, yard.up)


def _surface(log: TrueLog, x: Array, clock: Array, out: Array | float = 0.0) -> Array:
    radius = log.envelope_radius(x, clock) + out
    return np.column_stack([x, log.centre(x) + radius[:, None] * direction(clock)])


def _furrows(x: Array, clock: Array, depth: float, rng: np.random.Generator) -> Array:
    """Bark texture: long ridges that wander and fork, between −depth/2 and depth/2."""
    total = np.zeros_like(x)
    phases = rng.uniform(0, 2 * np.pi, (6, 2))
    for (a, b), order in zip(phases, (23, 31, 41, 53, 67, 83), strict=True):
        total += np.sin(order * clock + a + 2.0 * np.sin(x / rng.uniform(60, 160) + b))
    return depth * 0.5 * np.tanh(total / 1.5)


def _bark(log: TrueLog, yard: Yard, rng: np.random.Generator, count: int) -> Array:
    kept: list[Array] = []
    holes = [(rng.uniform(0, log.length), rng.uniform(-1.8, 1.8), rng.uniform(40, 110)) for _ in range(yard.holes)]
    seed = int(rng.integers(2**32))
    have = 0
    while have < count:
        x = rng.uniform(-MARGIN + 10, log.length + MARGIN - 10, 2 * count)
        clock = rng.uniform(-np.pi, np.pi, 2 * count)
        edge = np.pi - np.radians(yard.hidden_deg) / 2 * (1 + 0.06 * np.sin(x / 170.0))
        walk = 1 + yard.uneven * (0.6 * np.sin(clock) + 0.4 * np.sin(x / 400.0 + 1.0))
        seen = (np.abs(clock) < edge) & (rng.uniform(0, 1 + yard.uneven, len(x)) < walk)
        for hx, hc, size in holes:
            seen &= np.hypot(x - hx, log.radius * np.angle(np.exp(1j * (clock - hc)))) > size
        x, clock = x[seen], clock[seen]
        bumps = _furrows(x, clock, yard.ridges, np.random.default_rng(seed)) + rng.normal(0, yard.noise, len(x))
        points = _surface(log, x, clock, bumps)
        points[:, 0] += rng.normal(0, yard.noise, len(x))
        inside = log.within_ends(points) > 0
        points, clock = points[inside], clock[inside]
        if yard.drift:
            side = np.clip(np.sin(clock) * 4, -1, 1)[:, None] / 2
            points = points + yard.drift * side * np.array([0.3, 0.6, 0.74])
        kept.append(points)
        have += len(points)
    return np.concatenate(kept)[:count]


def _end_faces(log: TrueLog, yard: Yard, rng: np.random.Generator, count: int) -> Array:
    parts = [np.zeros((0, 3))]
    for (point, normal), scanned in zip(log.end_planes(), yard.ends, strict=True):
        if not scanned:
            continue
        reach = 1.3 * (log.radius + log.flare + log.bark) + abs(log.sweep) + abs(log.crook)
        yz = point[1:] + rng.uniform(-reach, reach, (6 * count, 2))
        x = point[0] - (yz - point[1:]) @ normal[1:] / normal[0]
        offset = yz - log.centre(x)
        inside = np.hypot(offset[:, 0], offset[:, 1]) < log.over_bark_radius(x, clock_of(offset))
        face = np.column_stack([x, yz])[inside][: count // 2]
        # chain-saw marks: shallow arcs across the face, besides the noise
        arcs = 0.6 * np.sin(np.hypot(face[:, 1] - 900, face[:, 2]) / 4.0)
        parts.append(face + (arcs + rng.normal(0, yard.noise, len(face)))[:, None] * normal)
    return np.concatenate(parts)


def _lowest(log: TrueLog) -> float:
    x = np.linspace(0, log.length, 60)
    clock = np.linspace(0, 2 * np.pi, 180)
    z = log.centre(x)[:, None, 1] + log.over_bark_radius(x[:, None], clock) * np.cos(clock)
    return float(z.min())


BEARER = 110.0
"""Side of the square timbers that the log lies on. [mm]"""


def _bearers(log: TrueLog, rng: np.random.Generator, count: int) -> Array:
    parts = []
    for at in (0.2, 0.8):
        n = count // 2
        y = rng.uniform(-1.1, 1.1, n) * log.radius * 1.3
        side = rng.integers(0, 3, n)
        along = np.where(side == 0, rng.uniform(-55, 55, n), np.where(side == 1, -55.0, 55.0))
        clock = np.linspace(2.4, 3.9, 60)
        x0 = at * log.length
        under = (log.centre(np.full(60, x0))[:, 1] + log.over_bark_radius(np.full(60, x0), clock) * np.cos(clock)).min()
        z = under - np.where(side == 0, 0.0, rng.uniform(0, BEARER, n))
        parts.append(np.column_stack([x0 + along, y, z]) + rng.normal(0, 2.0, (n, 3)))
    points = np.concatenate(parts)
    return points[(np.abs(points[:, 1]) > 0.35 * log.radius) | (rng.uniform(0, 1, len(points)) < 0.2)]


def _ground(log: TrueLog, yard: Yard, rng: np.random.Generator, count: int) -> Array:
    y = rng.uniform(-1400, 1400, count)
    x = rng.uniform(-500, log.length + 500, count)
    drop = np.tan(np.radians(yard.ground_slope_deg)) * y
    z = _lowest(log) - BEARER - 40 + drop + 8 * np.sin(x / 300) * np.sin(y / 240) + rng.normal(0, 4, count)
    shaded = (np.abs(y) < 0.7 * log.radius) & (x > 0) & (x < log.length) & (rng.uniform(0, 1, count) < 0.8)
    return np.column_stack([x, y, z])[~shaded]


def _clutter(log: TrueLog, rng: np.random.Generator, count: int) -> Array:
    """A block and a leaning post a good step away from the log."""
    n = count // 2
    low = _lowest(log) - BEARER - 40
    size = np.array([300.0, 220, 180])
    block = rng.uniform(-0.5, 0.5, (n, 3))
    face = rng.integers(0, 3, n)
    block[np.arange(n), face] = rng.choice([-0.5, 0.5], n)
    block = block * size + [0, 0, size[2] / 2]
    block += [0.7 * log.length, -(log.radius + log.flare + 480), low]
    t = rng.uniform(0, 1, n)[:, None]
    turn = rng.uniform(0, 2 * np.pi, n)
    post = np.array([0.3 * log.length, log.radius + log.flare + 620, low]) + t * [60.0, 40, 700]
    post[:, 0] += 35 * np.cos(turn)
    post[:, 1] += 35 * np.sin(turn)
    return np.concatenate([block, post]) + rng.normal(0, 2, (2 * n, 3))


def write_binary_ply(path, points: Array, comment: str = "scan of a log") -> None:
    """Write points (n, 3) as a compact little-endian PLY of float32."""
    header = (
        f"ply\nformat binary_little_endian 1.0\ncomment {comment}\nelement vertex {len(points)}\n"
        "property float x\nproperty float y\nproperty float z\nend_header\n"
    )
    with open(path, "wb") as out:
        out.write(header.encode("ascii"))
        out.write(np.ascontiguousarray(points, dtype="<f4").tobytes())


def girth(log: TrueLog, x: float) -> float:
    """Girth over bark as a tape would find it: round the convex hull of the section. [mm]"""
    clock = np.linspace(0, 2 * np.pi, 2880, endpoint=False)
    yz = log.centre(np.full(len(clock), x)) + log.over_bark_radius(np.full(len(clock), x), clock)[:, None] * direction(
        clock
    )
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    support = (yz @ direction(turn).T).max(0)  # a tape's girth is the mean of its supports times 2π
    return float(support.mean() * 2 * np.pi)


MARK_ERROR = 3.0
"""Between a pith mark and the pith, one standard deviation per axis, as a fit believes it to be where the card says nothing. [mm]

Common practice: a pith is marked to a few millimetres.
"""


def marked_off(
    log: TrueLog, scan: Scan, rng: np.random.Generator, error: float = MARK_ERROR
) -> tuple[Scan, list[Array]]:
    """The scan with its pith marks a little off on the end faces, and the marks in the true log frame. [mm]"""
    marks, placed = [], []
    for (point, normal), place in zip(log.end_planes(), (scan.pith_butt, scan.pith_top), strict=True):
        off = np.array([0.0, *rng.normal(0.0, error, 2)])
        off[0] = -(off[1:] @ normal[1:]) / normal[0]
        marks.append(place + scan.truth_to_scan[:3, :3] @ off)
        placed.append(point + off)
    return replace(scan, pith_butt=marks[0], pith_top=marks[1]), placed


def card_text(log: TrueLog, scan: Scan, scan_name: str, **more: str) -> str:
    """A plain TOML card with the pith marked in the scan at both ends. `more`: whole lines by table name."""
    marks = [", ".join(f"{v:.6f}" for v in mark) for mark in (scan.pith_butt, scan.pith_top)]
    tables = {
        "log": f'id = "{log.name}"\nspecies = "black walnut"\nscan = "{scan_name}"\nscan_units = "{scan.unit}"\n'
        f'up = "{scan.up}"',
        "ends": f'trim_butt = "{log.trim_butt:g} mm"\ntrim_top = "{log.trim_top:g} mm"',
        "bark": f'thickness = "{log.bark:.1f} mm"',
        "pith": f'radius = "{log.pith_radius:g} mm"\nbutt = {{ xyz = [{marks[0]}] }}\ntop = {{ xyz = [{marks[1]}] }}',
    }
    for name, lines in more.items():
        tables[name] = f"{tables[name]}\n{lines}" if name in tables else lines
    return "\n\n".join(f"[{name}]\n{lines}" for name, lines in tables.items()) + "\n"
