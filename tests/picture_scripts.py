"""A small but whole cut script to draw: a slab through the pith of a round log, one billet, two plates."""

from __future__ import annotations

import copy

import numpy as np

from pithline.logmodel.document import model_to_json
from pithline.script.solid import cut, log_solid
from truth.by_hand import cylinder, slab_script
from truth.logs import TrueLog
from truth.models import to_model


def small_script(log: TrueLog | None = None) -> dict:
    """The script by hand with its model, volumes and figures that differ from plate to plate."""
    log = cylinder() if log is None else log
    script = slab_script(log)
    script["model"] = model_to_json(to_model(log))
    live = {"log": log_solid(script["model"])}
    volumes = {"log": live["log"].volume()}
    for one in script["operations"]:
        if one["op"] == "cut":
            above, below = cut(live[one["piece"]], tuple(one["normal"]), one["offset"], one["kerf"])
            live |= {one["above"]: above, one["below"]: below}
            volumes |= {one["above"]: above.volume(), one["below"]: below.volume()}
    for piece in script["pieces"]:
        piece["volume"] = volumes[piece["id"]]
    for number, plate in enumerate(script["plates"]):
        plate["ring_angle"] = {"min": 81.25 - 4.0 * number, "mean": 86.5 - 7.0 * number}
        plate["runout"] = 1.25 + number
    plates = script["plates"]
    plates[0]["mate"], plates[1]["mate"] = plates[1]["id"], plates[0]["id"]
    script["format"], script["version"] = "pithline-cut-script", 1
    script["log"] |= {"id": "hand-1", "species": "black walnut", "length": log.length, "volume": volumes["log"],
                      "diameter_butt": 2 * log.radius, "diameter_top": 2 * log.radius, "sweep": 0.0}  # fmt: skip
    script["inputs"]["card"] = {"pith": {"radius": 20.0}}
    script["totals"] |= {"sets": {"tray": 1}, "value": 0.0}
    script["uncertainty"], script["cautions"] = {"pith_assumed": False}, []
    return script


def many_plates(count: int) -> dict:
    """The same script with its first plate's cut repeated: `count` thin plates one under the other."""
    script = small_script()
    first = next(one for one in script["operations"] if one["op"] == "cut" and one["above"] == "p1")
    script["operations"] = script["operations"][: script["operations"].index(first)]
    plate = script["plates"][0] | {"mate": None}
    script["plates"] = []
    script["pieces"] = [one for one in script["pieces"] if one["id"][0] not in "pq"]
    thick, kerf, piece = 0.24, 0.06, first["piece"]
    up = np.array(first["normal"])
    top = first["offset"] + 5.0
    for number in range(1, count + 1):
        below = f"r{number + 9}"
        offset = top - number * (thick + kerf) + kerf / 2
        script["operations"].append(
            first
            | {
                "id": f"m{number}",
                "piece": piece,
                "offset": offset,
                "kerf": kerf,
                "above": f"p{number}",
                "below": below,
            }
        )
        for name, kind in ((f"p{number}", "plate"), (below, "billet")):
            script["pieces"].append(
                {"id": name, "mark": name, "kind": kind, "made_by": f"m{number}", "volume": 38400.0}
            )
        corner = np.array(plate["corner"])
        corner = corner + (offset + kerf / 2 - corner @ up) * up
        edges = [*plate["edges"][:2], (thick * up).tolist()]
        ring = {"min": 70.0, "mean": 60.0 + 30.0 * number / count}
        new = {"id": f"p{number}", "corner": corner.tolist(), "edges": edges, "ring_angle": ring}
        script["plates"].append(copy.deepcopy(plate | new))
        piece = below
    script["totals"]["plates"] = count
    return script
