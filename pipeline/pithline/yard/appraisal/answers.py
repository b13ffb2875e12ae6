"""A log once something of it was found out: as it is then most likely, and logs drawn that agree with the answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.files.priors import Priors
from pithline.logmodel.card import Defect
from pithline.plan.api import WHOLE_RESERVE, PlanLog, with_reserve
from pithline.wood.unusable import station_of
from pithline.yard.appraisal.drawn_logs import DrawBasis, log_as_drawn, most_likely_draw
from pithline.yard.appraisal.log_knowledge import LogKnowledge

Array = NDArray[np.float64]
SCAN_LEAVES = 0.2
"""The share of a surface's or bow's doubt that a scan of that side leaves; invented, from scans of generated logs."""
MARK_LEAVES = 3.0
"""Standard error of a pith mark. [mm] Common practice."""


def gauged_leaves(known: LogKnowledge, priors: Priors) -> float:
    """The share of the bark's doubt that gauging at both ends leaves."""
    thickness = float((known.model.radius_over_bark - known.model.radius_under_bark).mean())
    return min(priors.bark_gauged * thickness / max(float(known.bark.mean()), 1e-9), 1.0)


def once_bought(known: LogKnowledge, priors: Priors) -> dict[str, float]:
    """What is settled of a log known by tape once it is bought, and the share of each doubt that is left.

    It is scanned, its pith is marked on both ends, and its bark gauged.
    """
    out = {"seen": SCAN_LEAVES, "bow": SCAN_LEAVES, "pith": min(MARK_LEAVES / max(float(known.pith.max()), 1e-9), 1.0)}
    return out if known.bark_known else {**out, "bark": gauged_leaves(known, priors)}


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
    if known.hung.any():  # of a surface that is known better the pith takes less along
        before = np.hypot(known.seen, known.hidden)
        after = np.hypot(settles.get("seen", 1.0) * known.seen, settles.get("hidden", 1.0) * known.hidden)
        bows = [known.hung * known.shapes.bow_doubt(one) for one in (before, after)]
        pith = pith - (bows[0] ** 2 - bows[1] ** 2)
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


def as_scanned(known: LogKnowledge, priors: Priors, basis: DrawBasis) -> LogKnowledge:
    """A log known by tape as it will be known once it is bought, where it is most likely; one known by a scan as it is.

    Nobody saws a log of this value by tape measures: it is scanned first, and planned on that.
    """
    if known.basis != "tape":
        return known
    left = once_bought(known, priors)
    log = log_with_answer(known, most_likely_draw(known), left, basis)
    return replace(
        known,
        log=log,
        seen=known.seen * left["seen"],
        bow=known.bow * left["bow"],
        pith=known.pith * left["pith"],
        bark=known.bark * left.get("bark", 1.0),
    )
