"""Whether a script's operations and lists belong together: ids, kinds, settings and their cuts, stages, charges."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from pithline.script.finding import Finding
from pithline.script.pieces import Sawn

UNIT = 1e-6
FENCE_DEG = 0.1
FLAT_DEG = 0.05
"""A resaw's angle to its fence below which the run is parallel to the sawn face, so charged nothing."""


def structure_findings(document: dict[str, Any], sawn: Sawn) -> list[Finding]:
    """Everything that can be told without asking what the pieces measure."""
    return [
        *_ids(document),
        *_pieces(document, sawn),
        *_cuts(document, sawn),
        *_settings(document, sawn),
        *_history(document),
        *_agreement(document),
    ]


def cuts_by_setting(document: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """The cuts of every setting, in order."""
    found: dict[str, list[dict[str, Any]]] = {}
    for one in document["operations"]:
        if one["op"] == "setting":
            found.setdefault(one["id"], [])
        else:
            found.setdefault(one["setting"], []).append(one)
    return found


def history(document: dict[str, Any]) -> frozenset[str]:
    """Settings that were sawn before the script was planned anew."""
    return frozenset(document.get("replan", {}).get("kept", ()))


def _history(document: dict[str, Any]) -> list[Finding]:
    """What is history comes first, and ends with the cut that the script says."""
    if "replan" not in document:
        return []
    kept, found, last = history(document), [], ""
    settings = [one["id"] for one in document["operations"] if one["op"] == "setting"]
    first = settings[: len(kept)]
    for name in sorted(kept - set(first)):
        found.append(Finding("history", name, "kept", "", f"{name} is said to be sawn already but does not come first"))
    for one in document["operations"]:
        if one["op"] == "cut" and one["setting"] in kept:
            last = one["id"]
    stated = document["replan"]["after"]
    if not found and last != stated:
        found.append(
            Finding("history", stated, stated, last, f"what is sawn should end with {stated}, it ends with {last}")
        )
    return found


def _ids(document: dict[str, Any]) -> list[Finding]:
    found = []
    for what, names in (
        ("operations", [one["id"] for one in document["operations"]]),
        ("pieces", [one["id"] for one in document["pieces"]]),
        ("crayon marks", [one["mark"] for one in document["pieces"]]),
        ("plates", [one["id"] for one in document["plates"]]),
    ):
        for name, often in Counter(names).items():
            if often > 1:
                words = f"{name} stands {often} times among the {what}"
                found.append(Finding("id-twice", name, 1, often, words))
    return found


def _pieces(document: dict[str, Any], sawn: Sawn) -> list[Finding]:
    found, listed = [], {one["id"]: one for one in document["pieces"]}
    plates = {one["id"] for one in document["plates"]}
    for name in sawn.volumes:
        if name not in listed:
            found.append(Finding("piece-missing", name, "", name, f"{name} is made but not among the pieces"))
    for name, piece in listed.items():
        kind = piece["kind"]
        if name not in sawn.volumes:
            found.append(Finding("piece-never-made", name, name, "", f"{name} is among the pieces but never made"))
            continue
        if piece["made_by"] != sawn.made_by[name]:
            by = sawn.made_by[name] or "no cut"
            words = f"{name} says it was made by {piece['made_by']}, it was by {by}"
            found.append(Finding("made-by", name, str(piece["made_by"]), by, words))
        if (kind == "plate") != (name in plates):
            words = f"{name} is of kind {kind}, and the plates {'list' if name in plates else 'do not list'} it"
            found.append(Finding("piece-kind", name, kind, "plate" if name in plates else "", words))
        if kind in ("plate", "offcut") and name in sawn.used_by:
            words = f"{name} is of kind {kind} but {sawn.used_by[name]} cuts it"
            found.append(Finding("piece-kind", name, kind, "sawn on", words))
        if sawn.volumes[name] <= 0.0 and kind != "offcut":
            found.append(Finding("piece-kind", name, kind, "offcut", f"{name} holds no wood but is of kind {kind}"))
    for name in sorted(plates - set(listed)):
        found.append(Finding("plate-unknown", name, name, "", f"plate {name} is none of the pieces"))
    return found


def _cuts(document: dict[str, Any], sawn: Sawn) -> list[Finding]:
    """Every cut stands in its setting, with its tool, on what the setting or its last cut left; kinds follow."""
    found, setting = [], None
    kinds = {one["id"]: one["kind"] for one in document["pieces"]}
    setting_of = {one["id"]: one["setting"] for one in document["operations"] if one["op"] == "cut"}
    within: set[str] = set()
    bed = ""
    for one in document["operations"]:
        if one["op"] == "setting":
            setting, within, bed = one, {one["piece"]}, one["piece"]
            continue
        name = one["id"]
        if setting is None or one["setting"] != setting["id"] or one["tool"] != setting["tool"]:
            at = "no setting" if setting is None else f"{setting['id']} on the {setting['tool']}"
            words = f"{name} states {one['setting']} on the {one['tool']} but follows {at}"
            found.append(Finding("cut-setting", name, one["setting"], at, words))
            continue
        length = float(np.linalg.norm(one["normal"]))
        if abs(length - 1.0) > UNIT:
            found.append(Finding("cut-normal", name, 1.0, length, f"{name} has a normal of length {length:.7f}"))
        allowed = {bed} if one["tool"] == "mill" else within
        if one["piece"] not in allowed:
            words = f"{name} cuts {one['piece']}, which is not what {setting['id']} has left on its bed or table"
            found.append(Finding("cut-piece", name, one["piece"], bed, words))
        further = setting_of.get(sawn.used_by.get(one["below"], "")) == setting["id"]
        if one["tool"] == "mill" and further and kinds.get(one["below"]) != kinds.get(setting["piece"]):
            stays, was = kinds.get(one["below"], "missing"), kinds.get(setting["piece"], "missing")
            words = f"{one['below']} stays on the bed of {setting['id']} and should be of kind {was}, not {stays}"
            found.append(Finding("piece-kind", one["below"], stays, was, words))
        if one["tool"] == "buck":
            for side in (one["above"], one["below"]):
                if kinds.get(side) not in ("log", "offcut"):
                    words = f"{side} is bucked by {name} and should be of kind log, not {kinds.get(side)}"
                    found.append(Finding("piece-kind", side, str(kinds.get(side)), "log", words))
        within |= {one["above"], one["below"]}
        bed = one["below"]
    return found


def _settings(document: dict[str, Any], sawn: Sawn) -> list[Finding]:
    found = []
    kinds = {one["id"]: one["kind"] for one in document["pieces"]}
    normals = {one["id"]: np.asarray(one["normal"], float) for one in document["operations"] if one["op"] == "cut"}
    cuts, dried = cuts_by_setting(document), False
    for one in document["operations"]:
        if one["op"] != "setting":
            continue
        name = one["id"]
        if not cuts[name]:
            found.append(Finding("setting-empty", name, 1, 0, f"{name} has no cut"))
        if one["piece"] not in sawn.volumes:
            found.append(Finding("setting-piece", name, one["piece"], "", f"{name} poses {one['piece']}, never made"))
            continue
        if dried and one["stage"] == "green":
            found.append(Finding("stage", name, "green", "dried", f"{name} is green but follows a dried setting"))
        dried = dried or one["stage"] == "dried"
        if one["charged"] != _charged(one, kinds.get(one["piece"], "")):
            words = f"{name} ({one['tool']}) is {'' if one['charged'] else 'not '}charged; it should be the other way"
            found.append(Finding("charged", name, str(one["charged"]), str(not one["charged"]), words))
        if one["tool"] != "mill":
            found += _against(one, cuts[name], sawn, normals)
    return found


def _charged(setting: dict[str, Any], kind: str) -> bool:
    """Free are runs parallel to a sawn face on the resaw, rip and crosscut of slabs and billets (design section 5)."""
    against = setting.get("against")
    if setting["tool"] in ("rip", "crosscut"):
        return kind not in ("slab", "billet")
    return not (setting["tool"] == "resaw" and against is not None and against["angle_deg"] < FLAT_DEG)


def _against(setting: dict[str, Any], cuts: list[dict[str, Any]], sawn: Sawn, normals: dict[str, Any]) -> list[Finding]:
    name, against = setting["id"], setting["against"]
    if setting["tool"] == "buck":
        if against is None and setting["support"] == "cradle":
            return []
        words = f"{name} bucks against {against} on {setting['support']}; a log lies in a cradle against nothing"
        return [Finding("against", name, setting["support"], "cradle", words)]
    if against is None:
        return [Finding("against", name, "null", "a face", f"{name} names no sawn face its piece lies against")]
    if against["face"] not in {face.cut for face in sawn.faces[setting["piece"]]}:
        words = f"{name} lies against the face of {against['face']}, which {setting['piece']} does not have"
        return [Finding("against", name, against["face"], "no face of the piece", words)]
    found = []
    for cut in cuts:
        cosine = abs(float(normals[cut["id"]] @ normals[against["face"]]))
        angle = float(np.degrees(np.arccos(min(1.0, cosine))))
        if abs(angle - against["angle_deg"]) > FENCE_DEG:
            words = f"{cut['id']} stands at {angle:.2f}° to the face of {against['face']}, {name} says otherwise"
            found.append(Finding("fence-angle", cut["id"], against["angle_deg"], angle, words))
    return found


def _agreement(document: dict[str, Any]) -> list[Finding]:
    """What both the log and the model say."""
    found, log, model = [], document["log"], document["model"]
    for key, other, slack in (
        ("length", "length", 0.01),
        ("sweep", "sweep", 0.01),
        ("volume", "volume_under_bark", 1e-4 * model["volume_under_bark"]),
    ):
        if abs(log[key] - model[other]) > slack:
            words = f"log.{key} is {log[key]:.3f}, model.{other} {model[other]:.3f}; they should agree"
            found.append(Finding("log-model", f"log.{key}", log[key], model[other], words))
    apart = float(np.abs(np.subtract(log["scan_to_log"], model["scan_to_log"])).max())
    if apart > 1e-3:
        words = f"log.scan_to_log and model.scan_to_log differ by {apart:.4f}; they should agree"
        found.append(Finding("log-model", "log.scan_to_log", 0.0, apart, words))
    return found
