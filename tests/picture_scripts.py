"""A small but whole cut script to draw: a slab through the pith of a round log, one billet, two plates."""

from __future__ import annotations

import numpy as np

from pithline.logmodel.model import LogModel
from pithline.script.solid import cut, log_solid
from truth.by_hand import cylinder, slab_script
from truth.logs import TrueLog
from truth.models import to_model


def model_json(model: LogModel) -> dict:
    """A log model in its JSON form (design section 6), as far as pictures need it."""
    ends = {name: {"point": end.point.tolist(), "normal": end.normal.tolist()}
            for name, end in (("butt", model.butt), ("top", model.top))}  # fmt: skip
    stations = [
        {
            "x": float(model.x[i]),
            "centre": model.centre[i].tolist(),
            "pith": model.pith[i].tolist(),
            "radius_over_bark": model.radius_over_bark[i].tolist(),
            "radius_under_bark": model.radius_under_bark[i].tolist(),
            "envelope": model.envelope[i].tolist(),
            "coverage": 1.0,
            "stderr": {"centre": 0.0, "pith": 0.0, "radius": [0.0] * 72},
        }
        for i in range(len(model.x))
    ]
    return {"length": model.length, "ends": ends, "stations": stations, "scan_to_log": np.eye(4).tolist()}


def small_script(log: TrueLog | None = None) -> dict:
    """The script by hand with its model, volumes and figures that differ from plate to plate."""
    log = cylinder() if log is None else log
    script = slab_script(log)
    script["model"] = model_json(to_model(log))
    live = {"log": log_solid(script["model"])}
    volumes = {"log": live["log"].volume()}
    for one in script["operations"]:
        if one["op"] == "cut":
            above, below, _ = cut(live[one["piece"]], tuple(one["normal"]), one["offset"], one["kerf"])
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
