"""Kerfs of every cut, and the shop saws' limits at every setting off the mill, on the wood of the piece."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.script.envelope import envelope_of, pith_at
from pithline.script.finding import Finding
from pithline.script.machine import log_ends, own_log
from pithline.script.pieces import Sawn
from pithline.script.structure import cuts_by_setting, history

Array = NDArray[np.float64]
LIMIT = 1.0
KERF = 1e-3


def shop_findings(document: dict[str, Any], sawn: Sawn, corners: dict[str, Array]) -> list[Finding]:
    """Findings about kerfs and the rip, crosscut and resaw; `corners` holds vertices (n, 3) of what they pose."""
    machines, found, kept = document["inputs"]["mill"], [], history(document)
    envelope = envelope_of(document["model"])

    @cache
    def runs(own: str) -> Array:
        """The way a log runs from butt to top, along its pith."""
        butt, top = (pith_at(envelope, face) for face in log_ends(document, sawn, envelope, own))
        return (top - butt) / np.linalg.norm(top - butt)

    settings = {one["id"]: one for one in document["operations"] if one["op"] == "setting"}
    for name, cuts in cuts_by_setting(document).items():
        setting = settings.get(name)
        for cut in cuts:
            kerf = machines[cut["tool"]]["kerf"]
            if abs(cut["kerf"] - kerf) > KERF:
                words = f"{cut['id']} states a kerf of {cut['kerf']:g} mm, the {cut['tool']} takes {kerf:g} mm"
                found.append(Finding("kerf", cut["id"], cut["kerf"], kerf, words))
        if (
            name in kept
            or setting is None
            or setting["tool"] in ("mill", "buck")
            or not len(corners.get(setting["piece"], ()))
        ):
            continue
        points = corners[setting["piece"]]
        found += _buried(setting, points, sawn)
        if setting["tool"] == "resaw":
            found += _resaw(setting, cuts, points, machines["resaw"], runs(own_log(document, sawn, setting["piece"])))
        else:
            found += _depth(setting, points, sawn, machines[setting["tool"]])
    return found


FACE = 1.5
"""A face that no corner of the piece comes nearer to than this is none of its own any more. [mm]"""


def _buried(setting: dict[str, Any], points: Array, sawn: Sawn) -> list[Finding]:
    """The face that a piece lies against is one that it still has: a later cut alongside may have left nothing of it."""
    against = setting["against"]
    face = next((one for one in sawn.faces[setting["piece"]] if against and one.cut == against["face"]), None)
    if face is None:
        return []
    off = float(np.abs(points @ face.normal - face.offset).min())
    if off <= FACE:
        return []
    words = f"{setting['id']} lies against the face of {face.cut}, of which {setting['piece']} holds nothing any more"
    return [Finding("against", setting["id"], 0.0, off, words)]


def _resaw(
    setting: dict[str, Any], cuts: list[dict[str, Any]], points: Array, saw: dict[str, Any], run: Array
) -> list[Finding]:
    """Height above the table: across the cut, square to the run of the piece, which is that of its log."""
    name, found = setting["id"], []
    for cut in cuts:
        normal = np.asarray(cut["normal"], float)
        height = np.cross(normal, run)
        height /= np.linalg.norm(height)
        tall = _spread_in_plane(points, normal, cut["offset"], height)
        if tall > saw["height_max"] + LIMIT:
            words = f"{cut['id']} is {tall:.0f} mm high, the resaw takes {saw['height_max']:g} mm"
            found.append(Finding("resaw-height", cut["id"], saw["height_max"], tall, words))
    long = float(np.ptp(points @ run))
    for key, value, what in (("piece_length_max", long, "mm"), ("piece_weight_max", setting["weight_kg"], "kg")):
        most = saw.get(key)
        if most is not None and value > most + LIMIT:
            words = f"{name} poses {setting['piece']} of {value:.0f} {what}, the resaw takes {most:g} {what}"
            found.append(Finding("resaw-piece", name, most, value, words))
    return found


def _spread_in_plane(points: Array, normal: Array, offset: float, along: Array) -> float:
    """Extent along a direction of the convex hull of `points` where it meets a plane. [mm]

    The widest section of a hull is spanned by lines between points on either side.
    """
    deep = points @ normal - offset
    if deep.min() >= 0.0 or deep.max() <= 0.0:
        return 0.0
    over, under = deep > 0.0, deep <= 0.0
    if over.sum() * under.sum() > 250_000:  # a bark side: thin its points, they lie a millimetre or so apart
        step = int(np.ceil(np.sqrt(over.sum() * under.sum() / 250_000)))
        keep = np.arange(len(points)) % step == 0
        over, under = over & keep, under & keep
        if not over.any() or not under.any():
            return 0.0
    share = deep[over][:, None] / (deep[over][:, None] - deep[under][None])
    v = points @ along
    reach = v[over][:, None] + share * (v[under][None] - v[over][:, None])
    return float(np.ptp(reach))


def _depth(setting: dict[str, Any], points: Array, sawn: Sawn, saw: dict[str, Any]) -> list[Finding]:
    """Depth under the saw: the piece lies on the face it is set against, or that face stands at its fence."""
    most, against = saw.get("depth_max"), setting["against"]
    face = next((one for one in sawn.faces[setting["piece"]] if against and one.cut == against["face"]), None)
    if most is None or face is None:
        return []
    deep = float(np.ptp(points @ face.normal))
    if deep <= most + LIMIT:
        return []
    words = f"{setting['id']} poses {setting['piece']} {deep:.0f} mm deep, the {setting['tool']} cuts {most:g} mm"
    return [Finding("depth", setting["id"], most, deep, words)]
