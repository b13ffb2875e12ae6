"""Mill files: the band mill and the shop's saws (design section 6)."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pithline.files.bundled import bundled, named
from pithline.files.tables import (
    Key,
    Table,
    flag,
    length,
    list_of,
    number,
    one_of,
    rate,
    read_toml,
    tell,
    text,
    volume,
    weight,
    whole,
)
from pithline.mill.machine import BandMill, BuckSaw, CrosscutSaw, Machines, Resaw, RipSaw

DEFAULT = "mills/portable.toml"

BED_MOST = 100_000.0
"""No bed is longer. [mm]"""

_POSITIVE = Key(length(at_least=None, above=0.0), required=True)
_ZERO_OR_MORE = Key(length(), required=True)
_MINUTES = number(at_least=0.0, what="number of minutes")
_CRADLES = {
    "cradles_deg": Key(list_of(number(above=0.0, at_most=90.0, what="angle in degrees"), 1), default=[]),
    "cradle_any": Key(flag, default=True),
    "minutes_repeat": Key(_MINUTES),
    "least_gain_per_repeat": Key(volume()),
    "spring": Key(length(), default=0.0),
}
"""How bolts are held, and what a further setting of a set-up takes, on mill and resaw alike."""

MILL = Table(
    {
        "mill": Table(
            {
                "name": Key(text, required=True),
                "kerf": _POSITIVE,
                "throat": _POSITIVE,
                "guide_opening": _POSITIVE,
                "blade_min": _ZERO_OR_MORE,
                "blade_max": _POSITIVE,
                "log_diameter_max": _POSITIVE,
                "log_length_max": _POSITIVE,
                "log_length_min": _ZERO_OR_MORE,
                "bunks": Key(list_of(length(at_most=BED_MOST), 2), required=True),
                "lift_max": _ZERO_OR_MORE,
                "lift_step": _POSITIVE,
                "roll_step_deg": Key(number(above=0.0, at_most=90.0, what="angle in degrees"), required=True),
                "height_step": _POSITIVE,
                "clamp_room": _ZERO_OR_MORE,
                "clearance_margin": _ZERO_OR_MORE,
                "minutes_per_setting": Key(_MINUTES, required=True),
                "feed": Key(rate(), required=True),
                "hour_rate": Key(number(at_least=0.0, what="amount of money"), default=0.0),
                "least_gain_per_setting": Key(volume(), default=0.0),
                "minutes_off_square": Key(_MINUTES, default=0.0),
                "settings_per_bolt_max": Key(whole(1)),
                "scale_reads": Key(one_of("centre", "lower"), default="centre"),
                "minutes_per_cut": Key(_MINUTES, default=0.0),
                "minutes_per_log": Key(_MINUTES, default=0.0),
                **_CRADLES,
            },
            required=True,
        ),
        "resaw": Table(
            {
                "kerf": _POSITIVE,
                "height_max": _POSITIVE,
                "piece_length_max": Key(length(at_least=None, above=0.0)),
                "piece_weight_max": Key(weight()),
                "minutes_per_setting": Key(_MINUTES),
                "feed": Key(rate()),
                "minutes_per_cut": Key(_MINUTES, default=0.0),
                **_CRADLES,
            },
            required=True,
        ),
        "rip": Table(
            {
                "kerf": _POSITIVE,
                "depth_max": _POSITIVE,
                "feed": Key(rate()),
                "minutes_per_cut": Key(_MINUTES, default=0.0),
            },
            required=True,
        ),
        "crosscut": Table(
            {"kerf": _POSITIVE, "depth_max": Key(length(at_least=None, above=0.0)), "minutes_per_cut": Key(_MINUTES)},
            required=True,
        ),
        "buck": Table({"kerf": _POSITIVE}),
    }
)


def read_mill(path: str | Path | None = None) -> Machines:
    """Read, check and freeze a mill file; the bundled portable mill where `path` is None."""
    return mill_from(mill_as_read(path))


def mill_as_read(path: str | Path | None = None) -> dict[str, Any]:
    """The mill file's tables as read: mm, mm/min, mm³, kg, degrees, minutes; defaults filled in."""
    path = bundled(DEFAULT) if path is None else named(path, "mills")
    values = read_toml(path, MILL)
    mill = values["mill"]
    faults: list[str] = []
    for low, high in (("blade_min", "blade_max"), ("log_length_min", "log_length_max"), ("kerf", "throat")):
        if mill[low] >= mill[high]:
            faults.append(f"[mill] {low} ({mill[low]:g} mm) must be less than {high} ({mill[high]:g} mm).")
    if any(later <= former for former, later in zip(mill["bunks"], mill["bunks"][1:], strict=False)):
        faults.append("[mill] bunks must rise along the bed, each position once.")
    for table in ("mill", "resaw"):
        angles = values[table]["cradles_deg"]
        if any(later <= former for former, later in itertools.pairwise(angles)):
            faults.append(f"[{table}] cradles_deg must rise, each angle once.")
    if 0.0 < mill["lift_max"] < mill["lift_step"]:
        faults.append("[mill] lift_step is more than lift_max; write the least lift that can be set.")
    tell(path, faults)
    values.setdefault("buck", {"kerf": values["crosscut"]["kerf"]})
    return values


def mill_from(values: Mapping[str, Any]) -> Machines:
    """The frozen machines of tables as read, whether from the mill file or from a script's `inputs`."""
    mill = dict(values["mill"])
    mill["bunks"] = tuple(mill["bunks"])
    resaw = dict(values["resaw"])
    for table in (mill, resaw):
        table["cradles_deg"] = tuple(table.get("cradles_deg", ()))
    mill["roll_step"] = math.radians(mill.pop("roll_step_deg"))
    return Machines(
        mill=BandMill(**mill),
        resaw=Resaw(**resaw),
        rip=RipSaw(**values["rip"]),
        crosscut=CrosscutSaw(**values["crosscut"]),
        buck=BuckSaw(**values["buck"]),
    )
