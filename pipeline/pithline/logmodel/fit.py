"""Fit the log in a scan: from points to the log model (docs/fit.md)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.assemble import assemble_model
from pithline.logmodel.bark_points import BeyondEnd, beyond_ends
from pithline.logmodel.bark_thickness import bark_thickness
from pithline.logmodel.card import Card
from pithline.logmodel.judge import verdict
from pithline.logmodel.laid_log import find_scene, lay_into_log_frame
from pithline.logmodel.model import FitFinding, LogModel, clock_angles
from pithline.logmodel.outline_fit import FittedOutline, fit_outline
from pithline.logmodel.pith_line import locate_pith
from pithline.logmodel.plausibility import check_defects, compare_with_tape
from pithline.logmodel.scale_by_tape import needs_scale, scaled

Array = NDArray[np.float64]

Progress = Callable[[str, float], None] | None
"""Called at each stage with a few words and the part done, 0 to 1."""


def fit_log(
    points: Array,
    card: Card,
    default_up: str = "+z",
    progress: Progress = None,
    pick: int | None = None,
    found: Callable[[float], None] | None = None,
) -> LogModel:
    """Fit one log.

    Parameters
    ----------
    points : (n, 3) array
        The scan in its own coordinates and unit.
    card : Card
    default_up : str
        The scan axis that is up where neither the card nor ground says.
    progress : callable or None
        Called at each stage with a few words and the part done, 0 to 1.
    pick : int or None
        Which of several logs, from 1 by falling size.
    found : callable or None
        Called with about how much the log measures, bark and all, once it is told from the rest of the scan. [mm³]

    Returns
    -------
    LogModel

    Raises
    ------
    FitError
        If there is no log, or several, or its size is absurd.
    InputError
        If card and scan contradict each other.
    """
    say = progress or (lambda words, part: None)
    points = np.asarray(points, dtype=np.float64)
    if needs_scale(card):
        say("finding the scale", 0.02)
        card = scaled(points, card, pick, lambda scaled_card: fit_log(points, scaled_card, default_up, None, pick))
    say("finding the log", 0.05)
    scene = find_scene(points, card, default_up, pick)
    if found is not None:
        found(scene.found.rough.volume)
    say("laying the log into its own frame", 0.3)
    laid = lay_into_log_frame(scene, card)
    say("fitting its surface", 0.45)
    fitted = fit_outline(laid)

    def inward(point: Array) -> Array:
        return laid.frame.inward(scene.inward(point))

    # bark that leaves no wood is refused before the pith is sought in it
    bark = bark_thickness(card, fitted.surface.radii(fitted.surface.x, clock_angles()))
    pith = locate_pith(card, fitted.surface, laid.faces, inward)
    say("drawing up the model", 0.9)
    model = assemble_model(card, laid, fitted, pith, bark)
    cautions = [*scene.cautions, *laid.cautions]
    model = _with_doubts(model, fitted, laid.butt_doubt)
    cautions += [finding.words for finding in model.findings]
    ends = beyond_ends(laid.log.points, laid.faces)
    cautions += [*pith.cautions, *_assumptions(model, ends)]
    check_defects(card, model)
    cautions += compare_with_tape(card, model, (laid.faces[0].seen, laid.faces[1].seen))
    beyond = tuple((f"beyond {end.name}", end.points) for end in ends)
    removed = (*scene.found.removed, ("bearers", fitted.bearers), *beyond)
    return replace(model, removed=removed, cautions=tuple(dict.fromkeys(cautions)))


def _with_doubts(model: LogModel, fitted: FittedOutline, butt_doubt: str) -> LogModel:
    """The model with what drift and layers may add to its doubts, and what the judge found in its frame."""
    findings, drift, layers = fitted.findings, fitted.drift, fitted.layers
    if drift is not None:
        model = replace(model, stderr_radius=drift.added_to(model.stderr_radius))
        if drift.significant:
            findings = (*findings, FitFinding("drift", 0.5 * model.length, 0.0, abs(drift.apart), drift.caution))
    if layers is not None:
        centre = np.hypot(model.stderr_centre, layers.centre_error)
        model = replace(model, stderr_radius=layers.added_to(model.stderr_radius), stderr_centre=centre)
    if butt_doubt:
        findings = (*findings, FitFinding("butt", 0.0, 0.0, 0.0, butt_doubt))
    start = float(fitted.surface.x[0] - model.x[0])  # the model's stations count from the pith on the butt
    findings = tuple(one if one.kind in ("drift", "butt") else replace(one, x=one.x - start) for one in findings)
    return replace(model, findings=findings, verdict=verdict(findings, fitted.surface.radius))


def _assumptions(model: LogModel, ends: tuple[BeyondEnd, BeyondEnd]) -> list[str]:
    """Cautions on what neither card nor scan told."""
    cautions = []
    if model.pith_assumed:
        cautions.append("No pith mark on the card: the pith was taken at the centre of the log. Mark it on both ends.")
    if model.bark_assumed:
        cautions.append("No bark thickness on the card: the species' usual share was taken. Probe it at both ends.")
    return cautions + [end.caution for end in ends if not end.seen]
