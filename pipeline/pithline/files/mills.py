"""Mill files: the band mill and the shop's saws. Their keys are declared in `pithline.mill.machine`."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pithline.files.bundled import bundled, named
from pithline.files.read import read_toml, tell
from pithline.keys.declared import freeze, known_keys
from pithline.mill.machine import Machines

DEFAULT = "mills/portable.toml"

MILL = known_keys(Machines)
"""Tables and keys of the file."""


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
        if any(later <= former for former, later in itertools.pairwise(values[table].get("cradles_deg", []))):
            faults.append(f"[{table}] cradles_deg must rise, each angle once.")
    if 0.0 < mill["lift_max"] < mill["lift_step"]:
        faults.append("[mill] lift_step is more than lift_max; write the least lift that can be set.")
    tell(path, faults)
    values.setdefault("buck", {"kerf": values["crosscut"]["kerf"]})
    return values


def mill_from(values: Mapping[str, Any]) -> Machines:
    """The frozen machines of tables as read, whether from the mill file or from a script's `inputs`."""
    return freeze(Machines, values)
