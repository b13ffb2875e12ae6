"""The independent judge: a cut script held against the log it was really meant for.

Nothing here imports the planner, the wood field, the mill or the replay; operations are replayed as half-spaces and
every plate is measured in the true wood. Run from tests/: `python -m truth.judge cut-script.json af-07`.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from .logs import TrueDefect, TrueLog, direction

Array = NDArray[np.float64]
PITCH = 10.0
WANE = 0.5
"""Bark allowed on the edge of a plate before it counts as lost. [mm]"""
ANGLE = 0.05
"""Degrees by which a limit may be missed before the plate counts as lost."""


@dataclass(frozen=True)
class Breach:
    """One thing that does not hold: a short name, where, by how much (mm or degrees), in words."""

    what: str
    where: str
    much: float
    words: str = ""


@dataclass(frozen=True)
class Solid:
    """A piece: where n·X ≤ d for every face, in the true log's frame."""

    id: str
    kind: str
    normals: Array  # (k, 3)
    offsets: Array  # (k,)
    cuts: tuple[str, ...]

    def depth(self, points: Array) -> Array:
        """Least distance inside the faces, negative outside. [mm]"""
        if not len(self.cuts):
            return np.full(points.shape[:-1], np.inf)
        return (self.offsets - points @ self.normals.T).min(-1)

    def split(self, id: str, kind: str, normal: Array, offset: float, cut: str) -> Solid:
        """The part of it where normal·X ≤ offset."""
        return Solid(id, kind, np.vstack([self.normals, normal]), np.append(self.offsets, offset), (*self.cuts, cut))


@dataclass(frozen=True)
class PlateFound:
    """What one plate truly is."""

    id: str
    volume: float
    claimed: bool
    ring_min: float
    ring_mean: float
    runout: float
    depth: float  # least radial depth under bark
    ends: float
    pith: float  # least distance outside the pith circle
    defect: float
    lost: tuple[str, ...]


@dataclass(frozen=True)
class Verdict:
    """`hard`: the script contradicts itself or its limits; `losses`: the true log does not give what was planned."""

    claimed_volume: float
    true_volume: float
    plates: tuple[PlateFound, ...]
    hard: tuple[Breach, ...]
    losses: tuple[Breach, ...]
    settings: tuple[dict, ...] = field(default=())

    @property
    def ratio(self) -> float:
        """True to claimed volume."""
        return self.true_volume / self.claimed_volume if self.claimed_volume else 1.0


def judge(script: dict, truth: TrueLog, truth_to_scan: Array | None = None) -> Verdict:
    """Hold a cut script against the true log.

    `truth_to_scan` (4, 4) takes the true log frame to scan coordinates; without it the two frames are one. Limits,
    product sizes and machines are read from the script itself.
    """
    from .judge_mill import judge_settings

    to_truth = np.eye(4)
    if truth_to_scan is not None:
        to_truth = np.linalg.inv(np.asarray(script["log"]["scan_to_log"], float) @ truth_to_scan)
    hard: list[Breach] = []
    if abs(np.linalg.det(to_truth[:3, :3]) - 1) > 1e-3:
        hard.append(Breach("scan_to_log", "log", float(np.linalg.det(to_truth[:3, :3]) - 1), "is no rigid motion"))
    solids, made = replay(script, to_truth, hard)
    plates = [_plate(script, plate, solids, made, truth, to_truth, hard) for plate in script["plates"]]
    losses = [
        Breach(cause, p.id, 0.0, f"depth {p.depth:.1f} ring {p.ring_min:.2f}/{p.ring_mean:.2f} runout {p.runout:.2f}")
        for p in plates
        if p.claimed
        for cause in p.lost
    ]
    settings = judge_settings(script, truth, to_truth, solids, hard, losses)
    claimed = sum(p.volume for p in plates if p.claimed)
    _totals(script, claimed, hard)
    true = sum(p.volume for p in plates if p.claimed and not p.lost)
    return Verdict(claimed, true, tuple(plates), tuple(hard), tuple(losses), tuple(settings))


def moved(points: Array, matrix: Array) -> Array:
    """Points (..., 3) through a 4×4 motion."""
    return np.asarray(points, float) @ matrix[:3, :3].T + matrix[:3, 3]


def moved_plane(normal: Array, offset: float, matrix: Array) -> tuple[Array, float]:
    """The plane n·X = offset through a rigid motion."""
    normal = np.asarray(normal, float)
    turned = matrix[:3, :3] @ normal
    return turned, float(turned @ moved(normal * offset, matrix))


def replay(script: dict, to_truth: Array, hard: list[Breach]) -> tuple[dict[str, Solid], dict[str, str]]:
    """All pieces as half-spaces in the true frame, and the cut that used each piece up."""
    solids = {"log": Solid("log", "log", np.zeros((0, 3)), np.zeros(0), ())}
    kinds = {p["id"]: p for p in script["pieces"]}
    used: dict[str, str] = {}
    settings: dict[str, dict] = {}
    current = None
    for op in script["operations"]:
        if op["op"] == "setting":
            settings[op["id"]] = current = op
            if op["piece"] not in solids or op["piece"] in used:
                hard.append(Breach("setting piece", op["id"], 0.0, f"{op['piece']} does not exist then"))
            continue
        if current is None or op["setting"] != current["id"]:
            hard.append(Breach("cut out of its setting", op["id"], 0.0, op["setting"]))
        if op["piece"] not in solids or op["piece"] in used:
            hard.append(Breach("cut piece", op["id"], 0.0, f"{op['piece']} does not exist then"))
            continue
        normal = np.asarray(op["normal"], float)
        if abs(np.linalg.norm(normal) - 1) > 1e-6:
            hard.append(Breach("normal", op["id"], float(np.linalg.norm(normal) - 1), "is not a unit"))
        n, d = moved_plane(normal, op["offset"], to_truth)
        used[op["piece"]] = op["id"]
        piece, half = solids[op["piece"]], op["kerf"] / 2
        for key, sign in (("above", -1.0), ("below", 1.0)):
            name = op[key]
            if name in solids:
                hard.append(Breach("piece made twice", name, 0.0, op["id"]))
            kind = kinds.get(name, {}).get("kind", "missing")
            if kind == "missing" or kinds[name]["made_by"] != op["id"]:
                hard.append(Breach("pieces list", name, 0.0, f"does not say it was made by {op['id']}"))
            solids[name] = piece.split(name, kind, sign * n, sign * d - half, op["id"])
    for name in kinds:
        if name not in solids:
            hard.append(Breach("pieces list", name, 0.0, "is never made"))
    for name, cut in used.items():
        if kinds.get(name, {}).get("kind") in ("plate", "offcut"):
            hard.append(Breach("piece used again", name, 0.0, f"a {kinds[name]['kind']} cut by {cut}"))
    return solids, used


def _grid(a: float) -> Array:
    return np.linspace(0, 1, max(2, int(np.ceil(a / PITCH - 1e-9)) + 1))


def plate_points(corner: Array, edges: Array) -> tuple[Array, Array]:
    """The mid-plane (m, n, 3), and the surface with the mid-plane (k, 3), at most 10 mm apart, edges included."""
    along, across, through = (_grid(float(np.linalg.norm(e))) for e in edges)
    u, v = np.meshgrid(along, across, indexing="ij")
    face = corner + u[..., None] * edges[0] + v[..., None] * edges[1]
    middle = face + 0.5 * edges[2]
    layers = [face, face + edges[2], middle]
    for fixed in (0.0, 1.0):
        for grid, axis, other in ((across, 1, 0), (along, 0, 1)):
            a, t = np.meshgrid(grid, through, indexing="ij")
            layers.append(corner + fixed * edges[other] + a[..., None] * edges[axis] + t[..., None] * edges[2])
    return middle, np.concatenate([layer.reshape(-1, 3) for layer in layers])


def _plate(
    script: dict,
    plate: dict,
    solids: dict,
    used: dict,
    truth: TrueLog,
    to_truth: Array,
    hard: list[Breach],
    allowed: float = 1.0,
) -> PlateFound:
    """What a plate truly is; `allowed` is the share of `WANE` and `ANGLE` that it may miss its limits by, but for the trims."""
    wane, angle = allowed * WANE, allowed * ANGLE
    corner = moved(plate["corner"], to_truth)
    edges = np.asarray(plate["edges"], float) @ to_truth[:3, :3].T
    _plate_on_cuts(plate, corner, edges, solids, used, hard)
    middle, points = plate_points(corner, edges)
    normal = np.cross(edges[0], edges[1])
    normal /= np.linalg.norm(normal)
    ring = np.degrees(truth.ring_angle(middle, normal))
    runout = float(np.degrees(truth.runout(middle, normal)).max())
    offset = points[:, 1:] - truth.pith(points[:, 0])
    pith = float((np.hypot(offset[:, 0], offset[:, 1]) - max(truth.pith_radius, 1.0)).min())
    depth, ends = float(truth.depth_under_bark(points).min()), float(truth.within_ends(points, trims=True).min())
    defect = min((float(_clear_of(truth, d, points).min()) for d in truth.defects), default=np.inf)
    limits = _limits(script, plate)
    lost = [name for name, short in (("bark", depth + wane), ("ends", ends + WANE), ("pith", pith + wane)) if short < 0]
    if defect < 0:
        lost.append("defect")
    least, mean = float(ring.min()), float(ring.mean())
    if least < limits.get("ring_angle_min_deg", 0) - angle:
        lost.append("ring angle")
    if mean < limits.get("ring_angle_mean_deg", 0) - angle:
        lost.append("mean ring angle")
    if runout > limits.get("runout_max_deg", 90) + angle:
        lost.append("runout")
    if float(ring.max()) > limits.get("ring_angle_max_deg", 90) + angle:
        lost.append("greatest ring angle")
    if _slope(truth, middle, edges) > limits.get("slope_max_deg", 90) + angle:
        lost.append("slope")
    lost += _sapwood(truth, limits, points, corner, edges, wane)
    return PlateFound(
        plate["id"], plate["volume"], plate["passes"], least, mean, runout, depth, ends, pith, defect, tuple(lost)
    )


def _slope(truth: TrueLog, points: Array, edges: Array) -> float:
    """How fast fibres cross the face sideways at most. [degrees]"""
    along, across = (edge / np.linalg.norm(edge) for edge in edges[:2])
    f = truth.fibre(points)
    return float(np.degrees(np.arctan2(np.abs(f @ across), np.abs(f @ along))).max())


def _plate_on_cuts(plate: dict, corner: Array, edges: Array, solids: dict, used: dict, hard: list[Breach]) -> None:
    """Whether the box lies in its piece and has a cut within 1 mm of each of its six faces."""
    where = plate["id"]
    if where not in solids:
        hard.append(Breach("plate", where, 0.0, "is no piece of the script"))
        return
    if where in used:
        hard.append(Breach("plate", where, 0.0, f"is cut again by {used[where]}"))
    solid = solids[where]
    units = edges / np.linalg.norm(edges, axis=1, keepdims=True)
    skew = float(np.abs(units @ units.T - np.eye(3)).max())
    if skew > 1e-4:
        hard.append(Breach("plate not square", where, float(np.degrees(skew)), "degrees between its edges"))
    signs = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)
    corners = corner + signs @ edges
    out = float(-solid.depth(corners).min())
    if out > 0.01:
        hard.append(Breach("plate outside its piece", where, out))
    gaps = solid.offsets[:, None] - solid.normals @ corners.T
    names = ("length", "width", "thickness")
    for axis in range(3):
        for side in (0, 1):
            own = signs[:, axis] == side
            worst = float(np.abs(gaps[:, own]).max(1).min()) if len(gaps) else np.inf
            if worst > 1.0 + 1e-6:
                hard.append(Breach("plate face is no cut", where, worst, f"{names[axis]}, side {side}"))


def _limits(script: dict, plate: dict) -> dict:
    products = script["inputs"].get("products") or {}
    limits = products.get("limits") or {}
    if isinstance(limits, list):
        limits = {one["name"]: one for one in limits}
    return limits.get(plate["limits"]) or {}


def _sapwood(truth: TrueLog, limits: dict, points: Array, corner: Array, edges: Array, wane: float) -> list[str]:
    kind = limits.get("sapwood", "any")
    if kind == "any" or not truth.sapwood:
        return []
    sap = truth.depth_under_bark(points) < truth.sapwood - wane
    if not sap.any():
        return []
    if kind == "none":
        return ["sapwood"]
    width = float(np.linalg.norm(edges[1]))
    across = (points - corner) @ edges[1] / width
    in_from = min(float(across[sap].max()), width - float(across[sap].min()))
    return ["sapwood"] if in_from > limits.get("sapwood_edge", 0.0) + wane else []


def _clear_of(truth: TrueLog, defect: TrueDefect, points: Array) -> Array:
    """Distance of points to a defect with its margin, negative inside (design section 4). [mm]"""
    x = points[:, 0]
    offset = points[:, 1:] - truth.pith(x)
    s = np.hypot(offset[:, 0], offset[:, 1])
    from_end = x if defect.end == "butt" else truth.length - x
    if defect.kind == "rot":
        return np.maximum(s - defect.diameter / 2, from_end - defect.length) - defect.margin
    if defect.kind == "check":
        e = direction(defect.clock)
        along = offset @ e
        aside = np.abs(offset @ direction(defect.clock + np.pi / 2))
        rim = truth.rim(x, np.full(len(x), defect.clock))
        return np.maximum.reduce([aside, from_end - defect.length, rim - defect.depth - along]) - defect.margin
    at = np.array(defect.x)
    rim = float(truth.rim(at, np.array(defect.clock)))
    axis = np.array([0.0, *direction(defect.clock)])
    foot = np.array([defect.x, *truth.pith(at)])
    if defect.kind == "metal":
        return np.linalg.norm(points - foot - rim * axis, axis=1) - defect.diameter / 2 - defect.margin
    along = (points - foot) @ axis
    aside = np.linalg.norm(points - foot - along[:, None] * axis, axis=1)
    cone = defect.diameter / 2 * np.clip(along / rim, 0, None)
    return np.where(along >= -defect.margin, aside - cone - defect.margin, np.inf)


def _totals(script: dict, claimed: float, hard: list[Breach]) -> None:
    totals = script["totals"]
    charged = [op for op in script["operations"] if op["op"] == "setting" and op["charged"]]
    mill = script["inputs"]["mill"].get("mill") or script["inputs"]["mill"]
    minutes = sum(op["minutes"] for op in script["operations"] if op["op"] == "setting") + mill.get(
        "minutes_per_log", 0.0
    )
    passing = sum(bool(p["passes"]) for p in script["plates"])
    for name, own, slack in (
        ("instrument_volume", claimed, max(1e-6 * claimed, 1.0)),
        ("settings", len(charged), 0),
        ("plates", passing, 0),
        ("minutes", minutes, 0.05),
    ):
        if abs(totals[name] - own) > slack:
            hard.append(Breach("totals", name, float(totals[name] - own), f"says {totals[name]}, is {own}"))
    volumes = {p["id"]: p["volume"] for p in script["pieces"]}
    plates = sum(volumes.get(p["id"], 0.0) for p in script["plates"] if p["passes"])
    whole = plates + totals["kerf_volume"] + totals["offcut_volume"]
    if abs(whole / totals["log_volume"] - 1) > 0.005:
        hard.append(Breach("totals", "log_volume", whole - totals["log_volume"], "plates + kerf + offcuts differ"))


def table(verdict: Verdict) -> str:
    """The verdict as lines of text."""
    lines = [
        f"claimed {verdict.claimed_volume / 1e6:.2f} L, true {verdict.true_volume / 1e6:.2f} L, "
        f"ratio {verdict.ratio:.3f}, {len(verdict.hard)} hard breaches, {len(verdict.losses)} losses"
    ]
    lines += [f"  hard  {b.what:26} {b.where:10} {b.much:9.3f}  {b.words}" for b in verdict.hard[:60]]
    lines += [f"  loss  {b.what:26} {b.where:10} {b.much:9.3f}  {b.words}" for b in verdict.losses[:60]]
    lines += ["  " + ", ".join(f"{k} {v}" for k, v in setting.items()) for setting in verdict.settings]
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """`script.json sample-name`; exit status 1 where the script does not hold."""
    from .samples import sample_scan, sample_truth

    path, name = arguments
    with open(path, encoding="utf-8") as source:
        script = json.load(source)
    truth = sample_truth(name)
    card = script["inputs"]["card"].get("pith") or {}
    if card.get("radius") is not None:
        truth = replace(truth, pith_radius=card["radius"])
    verdict = judge(script, truth, sample_scan(name).truth_to_scan)
    print(table(verdict))
    return 1 if verdict.hard else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
