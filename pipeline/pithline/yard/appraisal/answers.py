"""A log once something of it was found out: as it is then most likely, and logs drawn that agree with the answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.card import Defect
from pithline.plan.api import WHOLE_RESERVE, PlanLog, with_reserve
from pithline.wood.unusable import station_of
from pithline.yard.appraisal.drawn_logs import DrawBasis, log_as_drawn, most_likely_draw
from pithline.yard.appraisal.log_knowledge import LogKnowledge

Array = NDArray[np.float64]
SCAN_LEAVES = 0.2
"""The share of a surface's or bow's doubt that a scan of that side leaves; invented, from scans of generated logs."""
SCANNED: Mapping[str, float] = {"seen": SCAN_LEAVES, "bow": SCAN_LEAVES}
"""What a scan of a log known by tape settles, and the share of each doubt that it leaves."""


def mixed(answer: Mapping[str, Any], other: Mapping[str, Any], settles: Mapping[str, float]) -> dict[str, Any]:
    """A log drawn that agrees with an answer: what the answer leaves open comes from another draw."""
    out = dict(other)
    for name, leaves in settles.items():
        if leaves > 0.0:
            out[name] = np.sqrt(1.0 - leaves**2) * answer[name] + leaves * other[name]
        else:
            out[name] = answer[name]
    return out


def log_with_answer(
    known: LogKnowledge, answer: Mapping[str, Any], settles: Mapping[str, float], basis: DrawBasis
) -> PlanLog:
    """The log as it is most likely once the answer is there, its doubts lessened."""
    most_likely = most_likely_draw(known)
    for name, leaves in settles.items():
        most_likely[name] = np.sqrt(1.0 - leaves**2) * answer[name] if leaves > 0.0 else answer[name]
    log = log_as_drawn(known, most_likely, basis)
    if "checks" in settles:  # a sawyer who sees the checks trims them off
        log = _trimmed(log, answer["checks"])
    field = log.field
    gone = np.zeros_like(field.doubt)
    for name, sd in (("seen", known.seen), ("hidden", known.hidden), ("bark", known.bark[:, None])):
        if name in settles:
            gone = gone + (1.0 - settles[name] ** 2) * sd**2
    pith = np.asarray(field.pith_doubt, float) ** 2
    if "pith" in settles:
        pith = pith - (1.0 - settles["pith"] ** 2) * known.pith**2
    if "bow" in settles:
        pith = pith - (1.0 - settles["bow"] ** 2) * (known.bow * (1.0 - basis.t**2)) ** 2
    sure = replace(
        field, doubt=np.sqrt(np.maximum(field.doubt**2 - gone, 0.0)), pith_doubt=np.sqrt(np.maximum(pith, 0.0))
    )
    ends = station_of(sure, np.array([0.0, log.model.length]), sure.pith)
    butt, top = np.array([0.0, *ends[0]]), np.array([log.model.length, *ends[1]])
    chord = top - butt
    reach = float(np.linalg.norm(chord))
    return replace(
        with_reserve(log, sure, WHOLE_RESERVE),
        origin=butt,
        axis=chord / reach,
        reach=reach,
    )


def _trimmed(log: PlanLog, checks: tuple[Defect, ...]) -> PlanLog:
    """The log with its end checks as trims, which cost the search nothing, and no longer among its defects."""
    longest = {end: max((c.length or 0.0 for c in checks if c.end == end), default=0.0) for end in ("butt", "top")}
    return replace(
        log,
        trim_butt=max(log.trim_butt, longest["butt"]),
        trim_top=max(log.trim_top, longest["top"]),
        defects=tuple(defect for defect in log.defects if defect not in checks),
    )


def as_scanned(known: LogKnowledge, basis: DrawBasis) -> LogKnowledge:
    """A log known by tape as a scan would show it where it is most likely; one known by a scan as it is.

    Nobody saws a log of this value by tape measures: once it is bought it is scanned, and planned on that.
    """
    if known.basis != "tape":
        return known
    log = log_with_answer(known, most_likely_draw(known), SCANNED, basis)
    return replace(known, log=log, seen=known.seen * SCAN_LEAVES, bow=known.bow * SCAN_LEAVES)
