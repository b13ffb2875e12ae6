"""Every plate of a script: whole, cut on six faces, in sound wood, graded and mated right, apart from all others."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.script.finding import Finding
from pithline.script.grades import Grade, Wood, grade
from pithline.script.pieces import Sawn

Array = NDArray[np.float64]

SHARE = 0.005
FACE = 1.0
"""A face of a plate is a cut within this. [mm] (design section 5)"""
RING_DEG, RUNOUT_DEG = 0.3, 0.15
ROOM = 1.0
"""How far a plate may reach into unusable wood before it is a finding: the model itself is not known better. [mm]"""
SIZE = 0.05
SAP_COLUMN = 11.0
"""Sapwood is read on a grid of 10 mm: its stated depth may be a column more, never less. [mm]"""
_SIDES = ("length", "width", "thickness")
Parts = dict[tuple[str, str], tuple[dict[str, Any], dict[str, Any]]]
"""Product and part of a script's inputs by their names."""
_WORDS = {"bark": "beyond the wood under bark", "pith": "into the pith circle", "ends": "into an end trim"}


def plate_findings(document: dict[str, Any], sawn: Sawn, corners: dict[str, Array], wood: Wood) -> list[Finding]:
    """All findings about plates; `corners` holds the vertices (n, 3) of each plate's own solid."""
    found: list[Finding] = []
    parts = _parts(document["inputs"]["products"])
    for plate in document["plates"]:
        if plate["id"] not in sawn.volumes:
            continue  # the structure names it
        corner, edges = np.asarray(plate["corner"], float), np.asarray(plate["edges"], float)
        if np.linalg.norm(edges, axis=1).min() < 1e-6:
            found.append(_found("plate-box", plate, 0.0, 0.0, "has an edge of no length"))
            continue
        found += _box(plate, corner, edges, sawn, corners[plate["id"]])
        found += _size(plate, edges, parts, document["inputs"]["products"])
        found += _figure(plate, corner, edges, parts, document["inputs"]["card"].get("figure", []))
        small = _small(plate, edges, parts)
        found += _graded(plate, grade(wood, corner, edges), document["inputs"]["products"], wood, small)
    return [*found, *_overlaps(document["plates"]), *_mates(document, sawn, parts)]


def _found(kind: str, plate: dict[str, Any], stated: float | str, found: float | str, words: str) -> Finding:
    return Finding(kind, plate["id"], stated, found, f"plate {plate['id']} {words}")


def _parts(products: dict[str, Any]) -> Parts:
    return {(one["name"], part["name"]): (one, part) for one in products["product"] for part in one["part"]}


def _box(plate: dict[str, Any], corner: Array, edges: Array, sawn: Sawn, solid: Array) -> list[Finding]:
    found, name = [], plate["id"]
    sizes = np.linalg.norm(edges, axis=1)
    units = edges / sizes[:, None]
    skew = float(np.degrees(np.abs(units @ units.T - np.eye(3)).max()))
    if skew > 0.05:
        found.append(_found("plate-box", plate, 0.0, skew, f"has edges {skew:.2f}° out of square"))
    whole, real = float(np.prod(sizes)), sawn.volumes[name]
    # a piece may hold a little more than its box, where a face of it was sawn in an earlier setting: see below for how much
    if plate["passes"] and whole - real > SHARE * whole:
        words = f"passes but is not whole: its box is {whole:.0f} mm³, its piece holds {real:.0f}"
        found.append(_found("plate-whole", plate, whole, real, words))
    if len(solid):
        inside = (solid - corner) @ units.T
        out = float(np.maximum(-inside, inside - sizes).max())
        if out > FACE:
            found.append(_found("plate-box", plate, 0.0, out, f"has a piece that reaches {out:.1f} mm out of its box"))
    signs = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)
    points = corner + signs @ edges
    gaps = np.array([np.abs(face.offset - points @ face.normal) for face in sawn.faces[name]])
    for axis, side in ((a, b) for a in range(3) for b in (0, 1)):
        worst = float(gaps[:, signs[:, axis] == side].max(1).min()) if len(gaps) else np.inf
        if worst > FACE + 1e-6:
            words = f"has no cut within 1 mm at its {'far' if side else 'near'} end in {_SIDES[axis]}"
            found.append(_found("plate-face", plate, FACE, worst, words))
    return found


def _size(plate: dict[str, Any], edges: Array, parts: Parts, products: dict[str, Any]) -> list[Finding]:
    key = (plate["product"], plate["part"])
    if key not in parts:
        return [_found("plate-part", plate, plate["part"], "", f"is of part {key[1]} of {key[0]}, not in the products")]
    product, part = parts[key]
    found = []
    asked: str = part.get("limits") or product["limits"]
    if plate["limits"] != asked:
        words = f"is held to limits {plate['limits']}, its part asks for {asked}"
        found.append(_found("plate-limits", plate, plate["limits"], asked, words))
    least = np.array([part[side] for side in _SIDES])
    sizes = np.linalg.norm(edges, axis=1)
    for side, want, real in zip(_SIDES, least, sizes, strict=True):
        if plate["passes"] and real < want - SIZE:
            words = f"passes with a {side} of {real:.2f} mm where {want:.2f} is asked"
            found.append(_found("plate-size", plate, float(want), float(real), words))
    own, volume = float(np.prod(least)), plate["volume"]
    green = products["sizes"] == "green"
    wrong = abs(volume - own) > 1e-6 * own if green else not own * (1 - 1e-6) <= volume <= np.prod(sizes) * (1 + 1e-6)
    if wrong:
        words = f"states {volume:.0f} mm³, its part's own green size {'holds' if green else 'is more than'} {own:.0f}"
        found.append(_found("plate-volume", plate, volume, own, words))
    return found


def _figure(
    plate: dict[str, Any], corner: Array, edges: Array, parts: Parts, zones: list[dict[str, Any]]
) -> list[Finding]:
    """The factor of figure is the greatest of the zones that hold the whole plate, on the widest parts of a product alone."""
    product, part = parts.get((plate["product"], plate["part"]), ({}, {}))
    own = 1.0
    if zones and product and part["width"] >= max(one["width"] for one in product["part"]):
        along = [float(corner[0] + sign @ edges[:, 0]) for sign in np.ndindex(2, 2, 2)]
        holding = [
            one["factor"]
            for one in zones
            if min(along) >= one.get("from", -np.inf) and max(along) <= one.get("to", np.inf)
        ]
        own = max(holding, default=1.0)
    stated = plate.get("figure", 1.0)
    if abs(stated - own) <= 1e-9:
        return []
    return [
        _found("figure", plate, stated, own, f"states a factor of figure of {stated:g}, the card's zones give {own:g}")
    ]


def _small(plate: dict[str, Any], edges: Array, parts: Parts) -> bool:
    """Whether a plate lacks something of its part's size, by more or less than `_size` lets pass."""
    if (plate["product"], plate["part"]) not in parts:
        return False
    part = parts[plate["product"], plate["part"]][1]
    return any(real < part[side] for side, real in zip(_SIDES, np.linalg.norm(edges, axis=1), strict=True))


def _graded(
    plate: dict[str, Any], real: Grade, products: dict[str, Any], wood: Wood, small: bool = False
) -> list[Finding]:
    found = []
    for kind, stated, own, slack, what in (
        ("ring-angle", plate["ring_angle"]["min"], real.ring_min, RING_DEG, "a least ring angle"),
        ("ring-angle", plate["ring_angle"]["mean"], real.ring_mean, RING_DEG, "a mean ring angle"),
        ("runout", plate["runout"], real.runout, RUNOUT_DEG, "a greatest runout"),
        ("slope", plate.get("slope", real.slope), real.slope, RUNOUT_DEG, "a greatest slope in the face"),
    ):
        if abs(stated - own) > slack:
            found.append(_found(kind, plate, stated, own, f"states {what} of {stated:.2f}°, {own:.2f}° is measured"))
    deep = max(real.sapwood_in, 0.0)
    if "sapwood" in plate and wood.sapwood is not None and not -ROOM <= plate["sapwood"] - deep <= SAP_COLUMN:
        words = f"states sapwood {plate['sapwood']:.0f} mm in from its edge, {deep:.0f} mm is measured"
        found.append(_found("sapwood", plate, plate["sapwood"], deep, words))
    limits = products["limits"].get(plate["limits"])
    if limits is None:
        return [*found, _found("plate-limits", plate, plate["limits"], "", f"names unknown limits {plate['limits']}")]
    if plate["passes"]:
        found += _unsound(plate, real) + _beyond(plate, real, limits, wood)
    elif not small and _clearly_passes(real, limits, wood):
        found.append(_found("passes", plate, "false", "true", "is said not to pass, but nothing in it fails"))
    return found


def _unsound(plate: dict[str, Any], real: Grade) -> list[Finding]:
    found = []
    for what, room in real.room.items():
        if room < -ROOM:
            kind = "plate-defect" if what.startswith("defect") else f"plate-{what}"
            words = f"passes but reaches {-room:.1f} mm {_WORDS.get(what, f'into {what} of the card')}"
            found.append(_found(kind, plate, 0.0, room, words))
    return found


def _beyond(plate: dict[str, Any], real: Grade, limits: dict[str, Any], wood: Wood) -> list[Finding]:
    found = []
    for stated, own, limit, slack, what in (
        (plate["ring_angle"]["min"], real.ring_min, limits["ring_angle_min_deg"], RING_DEG, "least ring angle"),
        (plate["ring_angle"]["mean"], real.ring_mean, limits["ring_angle_mean_deg"], RING_DEG, "mean ring angle"),
        (-plate["runout"], -real.runout, -limits["runout_max_deg"], RUNOUT_DEG, "greatest runout"),
        (
            -plate.get("slope", 0.0),
            -real.slope,
            -limits.get("slope_max_deg", 90.0),
            RUNOUT_DEG,
            "greatest slope in the face",
        ),
        (
            -real.ring_max,
            -real.ring_max,
            -limits.get("ring_angle_max_deg", 90.0) - RING_DEG,
            RING_DEG,
            "greatest ring angle",
        ),
    ):
        if stated < limit - 1e-5 or own < limit - slack:
            words = f"passes with a {what} of {abs(own):.2f}° (stated {abs(stated):.2f}°), the limit is {abs(limit):g}°"
            found.append(_found("passes", plate, abs(stated), abs(limit), words))
    rule = limits.get("sapwood", "any")
    if rule == "any":
        return found
    if wood.sapwood is None:
        words = f"minds sapwood ({rule}), and neither card nor model says how thick it is"
        return [*found, _found("sapwood", plate, rule, "unknown", words)]
    most = limits.get("sapwood_edge", 0.0) if rule == "edge" else -1.0
    if real.sapwood_in > most + ROOM:
        words = f"passes with sapwood {real.sapwood_in:.0f} mm in from its edge, where limits say {rule}"
        found.append(_found("sapwood", plate, most, real.sapwood_in, words))
    return found


def _clearly_passes(real: Grade, limits: dict[str, Any], wood: Wood) -> bool:
    rule = limits.get("sapwood", "any")
    most = limits.get("sapwood_edge", 0.0) - ROOM if rule == "edge" else -1.0
    sapwood = rule == "any" or (wood.sapwood is not None and real.sapwood_in <= most)
    return (
        sapwood
        and min(real.room.values()) > ROOM
        and real.ring_min > limits["ring_angle_min_deg"] + RING_DEG
        and real.ring_mean > limits["ring_angle_mean_deg"] + RING_DEG
        and real.runout < limits["runout_max_deg"] - RUNOUT_DEG
        and real.slope < limits.get("slope_max_deg", 90.0) - RUNOUT_DEG
        and real.ring_max < limits.get("ring_angle_max_deg", 91.0) - RING_DEG
    )


def _overlaps(plates: list[dict[str, Any]]) -> list[Finding]:
    """Pairs of plate boxes that share more than a skin of 0.1 mm: axis-aligned bounds first, then separating axes."""
    if len(plates) < 2:
        return []
    edges = np.array([one["edges"] for one in plates], float)
    middle = np.array([one["corner"] for one in plates], float) + edges.sum(1) / 2.0
    half = np.abs(edges).sum(1) / 2.0
    found = []
    for i in range(len(plates) - 1):
        near = np.all(np.abs(middle[i + 1 :] - middle[i]) < half[i + 1 :] + half[i] - 0.1, axis=1)
        for j in np.nonzero(near)[0] + i + 1:
            deep = _shared(edges[i], edges[j], middle[j] - middle[i])
            if deep > 0.1:
                words = f"overlaps plate {plates[j]['id']} by {deep:.1f} mm"
                found.append(_found("plate-overlap", plates[i], 0.0, deep, words))
    return found


def _shared(one: Array, other: Array, apart: Array) -> float:
    """Depth by which two boxes with these edge vectors overlap; negative where an axis separates them."""
    axes = np.concatenate([one, other, np.cross(one[:, None], other[None]).reshape(-1, 3)])
    size = np.linalg.norm(axes, axis=1)
    axes = axes[size > 1e-6 * size.max()]
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    reach = (np.abs(axes @ one.T).sum(1) + np.abs(axes @ other.T).sum(1)) / 2.0
    return float((reach - np.abs(axes @ apart)).min())


def _mates(document: dict[str, Any], sawn: Sawn, parts: Parts) -> list[Finding]:
    found = []
    plates = {one["id"]: one for one in document["plates"]}
    cuts = {one["id"]: one for one in document["operations"] if one["op"] == "cut"}
    billets = {one["id"] for one in document["pieces"] if one["kind"] == "billet"}
    for plate in document["plates"]:
        if plate["mate"] is None:
            continue
        mate = plates.get(plate["mate"])
        if mate is None or mate["mate"] != plate["id"] or mate is plate:
            words = f"names {plate['mate']} as its mate, which does not name it back"
            found.append(_found("mate", plate, plate["mate"], "", words))
            continue
        if any(plate[key] != mate[key] for key in ("product", "part", "set_id")):
            words = f"and its mate {mate['id']} are not of one part and one set"
            found.append(_found("mate", plate, plate["mate"], "", words))
        if plate["id"] in sawn.faces and mate["id"] in sawn.faces:
            found += _neighbours(plate, mate, sawn, cuts, billets)
    return found


def _neighbours(
    plate: dict[str, Any], mate: dict[str, Any], sawn: Sawn, cuts: dict[str, dict[str, Any]], billets: set[str]
) -> list[Finding]:
    """Mates come from one billet and lie face to face, one kerf apart."""
    common = set(sawn.line(plate["id"])) & set(sawn.line(mate["id"])) & billets
    edges = np.asarray(plate["edges"], float)
    thick = float(np.linalg.norm(edges[2]))
    normal = edges[2] / thick
    other = np.asarray(mate["edges"], float)
    apart = np.subtract(mate["corner"], plate["corner"]) + (other.sum(0) - edges.sum(0)) / 2.0
    through = abs(float(apart @ normal))
    gap = through - (thick + float(np.linalg.norm(other[2]))) / 2.0
    aside = float(np.linalg.norm(apart - (apart @ normal) * normal))
    own = [face for face in sawn.faces[plate["id"]] if abs(face.normal @ normal) > 0.999]
    kerf = max((cuts[face.cut]["kerf"] for face in own), default=0.0)
    if common and gap <= kerf + FACE and aside <= 5.0:
        return []
    words = f"and its mate {mate['id']} are not neighbours of one billet ({gap:.1f} mm between their faces)"
    return [_found("mate", plate, kerf, gap, words)]
