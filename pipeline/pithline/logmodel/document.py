"""The log model as JSON (design section 6) and back. Lengths mm, volumes mm³, clock angles degrees."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.logmodel.model import EndPlane, LogModel, SuspectedKnot
from pithline.logmodel.taper import mean_coverage, ovality, sweep, taper, volume


def _list(values: np.ndarray, digits: int = 4) -> list:
    return np.round(np.asarray(values, float), digits).tolist()


def model_to_json(model: LogModel) -> dict[str, Any]:
    """The log model as a plain document."""
    stations = [
        {
            "x": round(float(model.x[i]), 4),
            "centre": _list(model.centre[i], 6),
            "pith": _list(model.pith[i], 6),
            "radius_over_bark": _list(model.radius_over_bark[i]),
            "radius_under_bark": _list(model.radius_under_bark[i]),
            "envelope": _list(model.envelope[i]),
            "coverage": round(float(model.coverage[i]), 4),
            "stderr": {
                "centre": round(float(model.stderr_centre[i]), 4),
                "pith": round(float(model.stderr_pith[i]), 4),
                "radius": _list(model.stderr_radius[i], 3),
            },
        }
        for i in range(len(model.x))
    ]
    return {
        "format": "pithline-log-model",
        "version": 1,
        "scan_to_log": np.asarray(model.scan_to_log, float).tolist(),
        "length": float(model.length),
        "ends": {
            side: {"point": _list(plane.point, 6), "normal": _list(plane.normal, 9)}
            for side, plane in (("butt", model.butt), ("top", model.top))
        },
        "stations": stations,
        "sweep": sweep(model),
        "taper_mm_per_m": taper(model),
        "ovality": ovality(model),
        "volume_over_bark": volume(model, model.radius_over_bark),
        "volume_under_bark": volume(model, model.radius_under_bark),
        "coverage": mean_coverage(model),
        "suspected_knots": [
            {"x": k.x, "clock_deg": float(np.degrees(k.clock)), "diameter": k.diameter, "height": k.height}
            for k in model.suspected_knots
        ],
        "removed": dict(model.removed),
    }


def model_from_json(document: Mapping[str, Any]) -> LogModel:
    """The model that `model_to_json` wrote; what the document does not hold (assumptions, cautions) is left at its default."""
    stations = document["stations"]

    def column(key: str) -> np.ndarray:
        return np.array([s[key] for s in stations], float)

    def stderr(key: str) -> np.ndarray:
        return np.array([s["stderr"][key] for s in stations], float)

    ends = {
        side: EndPlane(
            np.array(document["ends"][side]["point"], float), np.array(document["ends"][side]["normal"], float)
        )
        for side in ("butt", "top")
    }
    knots = tuple(
        SuspectedKnot(k["x"], float(np.radians(k["clock_deg"])), k["diameter"], k.get("height", 0.0))
        for k in document["suspected_knots"]
    )
    return LogModel(
        column("x"),
        column("centre"),
        column("pith"),
        column("radius_over_bark"),
        column("radius_under_bark"),
        column("envelope"),
        column("coverage"),
        stderr("centre"),
        stderr("pith"),
        stderr("radius"),
        float(document["length"]),
        ends["butt"],
        ends["top"],
        np.array(document["scan_to_log"], float),
        knots,
        tuple(document["removed"].items()),
    )
