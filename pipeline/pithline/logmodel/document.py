"""The log model as a JSON document and back (docs/formats.md). Lengths in mm, clock angles in degrees."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.logmodel import dimensions
from pithline.logmodel.model import EndPlane, FitFinding, LogModel, SuspectedKnot

Array = NDArray[np.float64]

FORMAT, VERSION = "pithline-log-model", 1
DIGITS = 4
"""Decimals kept: a tenth of a micron."""


def _numbers(values: Any, digits: int = DIGITS) -> Any:
    return np.round(np.asarray(values, float), digits).tolist()


def model_to_json(model: LogModel) -> dict[str, Any]:
    """The document, of plain lists, numbers and text."""
    middle = 0.5 * model.length
    return {
        "format": FORMAT,
        "version": VERSION,
        "scan_to_log": _numbers(model.scan_to_log, 9),
        "length": _numbers(model.length),
        "ends": {
            name: {"point": _numbers(plane.point), "normal": _numbers(plane.normal, 9)}
            for name, plane in (("butt", model.butt), ("top", model.top))
        },
        "stations": [_station(model, i) for i in range(len(model.x))],
        "sweep": _numbers(dimensions.sweep(model)),
        "taper_mm_per_m": _numbers(dimensions.taper_mm_per_m(model)),
        "ovality": _numbers(dimensions.ovality(model, middle), 6),
        "volume_over_bark": _numbers(dimensions.volume(model, under_bark=False), 0),
        "volume_under_bark": _numbers(dimensions.volume(model), 0),
        "coverage": _numbers(dimensions.coverage(model)),
        "suspected_knots": [
            {
                "x": _numbers(knot.x),
                "clock_deg": _numbers(np.degrees(knot.clock)),
                "diameter": _numbers(knot.diameter),
                "height": _numbers(knot.height),
            }
            for knot in model.suspected_knots
        ],
        "removed": dict(model.removed),
        "pith_assumed": model.pith_assumed,
        "bark_assumed": model.bark_assumed,
        "sapwood_thickness": _numbers(model.sapwood_thickness),
        "sapwood_assumed": model.sapwood_assumed,
        "spiral_deg": _numbers(np.degrees(model.spiral), 9),
        "cautions": list(model.cautions),
        "stderr_length": _numbers(model.stderr_length),
        "verdict": model.verdict,
        "findings": [
            {
                "kind": one.kind,
                "x": _numbers(one.x),
                "clock_deg": _numbers(np.degrees(one.clock)),
                "size": _numbers(one.size),
                "words": one.words,
            }
            for one in model.findings
        ],
    }


def _station(model: LogModel, i: int) -> dict[str, Any]:
    return {
        "x": _numbers(model.x[i], 6),
        "centre": _numbers(model.centre[i]),
        "pith": _numbers(model.pith[i]),
        "radius_over_bark": _numbers(model.radius_over_bark[i]),
        "radius_under_bark": _numbers(model.radius_under_bark[i]),
        "envelope": _numbers(model.envelope[i]),
        "coverage": _numbers(model.coverage[i]),
        "stderr": {
            "centre": _numbers(model.stderr_centre[i]),
            "pith": _numbers(model.stderr_pith[i]),
            "radius": _numbers(model.stderr_radius[i]),
        },
    }


def model_from_json(document: dict[str, Any]) -> LogModel:
    """The log model in a document.

    Raises
    ------
    InputError
        If it is no log model of this version, or a key is missing.
    """
    if document.get("format") != FORMAT or document.get("version") != VERSION:
        raise InputError(f"this is no {FORMAT} of version {VERSION}; fit the log again with this pithline.")
    try:
        return _model(document)
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(f"the log model is incomplete ({error}); fit the log again.") from error


def _model(document: dict[str, Any]) -> LogModel:
    rows = document["stations"]

    def column(name: str) -> Array:
        return np.array([row[name] for row in rows], dtype=float)

    def stderr(name: str) -> Array:
        return np.array([row["stderr"][name] for row in rows], dtype=float)

    def plane(name: str) -> EndPlane:
        end = document["ends"][name]
        normal = np.array(end["normal"], float)
        return EndPlane(np.array(end["point"], float), normal / np.linalg.norm(normal))

    knots = tuple(
        SuspectedKnot(knot["x"], float(np.radians(knot["clock_deg"])), knot["diameter"], knot["height"])
        for knot in document["suspected_knots"]
    )
    return LogModel(
        x=column("x"),
        centre=column("centre"),
        pith=column("pith"),
        radius_over_bark=column("radius_over_bark"),
        radius_under_bark=column("radius_under_bark"),
        envelope=column("envelope"),
        coverage=column("coverage"),
        stderr_centre=stderr("centre"),
        stderr_pith=stderr("pith"),
        stderr_radius=stderr("radius"),
        length=float(document["length"]),
        butt=plane("butt"),
        top=plane("top"),
        scan_to_log=np.array(document["scan_to_log"], float),
        suspected_knots=knots,
        removed=tuple((str(name), int(count)) for name, count in document["removed"].items()),
        pith_assumed=bool(document.get("pith_assumed", False)),
        bark_assumed=bool(document.get("bark_assumed", False)),
        sapwood_thickness=float(document.get("sapwood_thickness", 0.0)),
        sapwood_assumed=bool(document.get("sapwood_assumed", False)),
        spiral=float(np.radians(document.get("spiral_deg", 0.0))),
        cautions=tuple(document.get("cautions", ())),
        stderr_length=float(document.get("stderr_length", 0.0)),
        verdict=str(document.get("verdict", "sound")),
        findings=tuple(
            FitFinding(
                one["kind"], float(one["x"]), float(np.radians(one["clock_deg"])), float(one["size"]), one["words"]
            )
            for one in document.get("findings", ())
        ),
    )
