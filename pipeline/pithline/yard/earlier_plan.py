"""An earlier plan of the same scan as a way to saw the log, beside those that a search finds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pithline.errors import InputError
from pithline.plan.api import Candidate, PlanLog, kept_candidate, layout_of_script
from pithline.yard.request import Inputs

ELSEWHERE, ELSEWHERE_LEAST = 0.1, 50.0
"""A log whose butt end lies farther from the earlier one's than this share of its length, and so many mm, is another of the scan."""


def check_same_scan(script: Mapping[str, Any], inputs: Inputs) -> None:
    """Refuse a script of another scan.

    Raises
    ------
    InputError
        Where the script's scan is not the card's.
    """
    if script["log"]["scan_sha256"] != inputs.scan_sha256:
        raise InputError(
            f"--keep names a plan of log {script['log']['id']} on another scan than the card's ({inputs.card.id}); name a "
            "cut-script.json made from this very scan."
        )


def earlier_candidate(script: Mapping[str, Any], log: PlanLog, inputs: Inputs, beside: Candidate) -> Candidate | None:
    """The earlier plan's layout on the log as it is fitted now; None where it saws nothing.

    Raises
    ------
    InputError
        Where it is of another log of the same scan.
    """
    old, new = (np.asarray(one, float) for one in (script["log"]["scan_to_log"], log.model.scan_to_log))
    butt = (new @ np.linalg.inv(old) @ np.array([0.0, 0.0, 0.0, 1.0]))[:3]
    if float(np.linalg.norm(butt - log.origin)) > ELSEWHERE * log.reach + ELSEWHERE_LEAST:
        raise InputError(
            f"--keep names a plan of another log in this scan ({script['log']['id']}); name one of {inputs.card.id}, or --pick "
            "that log."
        )
    log_layout = layout_of_script(script, log, inputs.machines.buck.kerf)
    return None if log_layout is None else kept_candidate(log_layout, beside, "earlier plan kept")
