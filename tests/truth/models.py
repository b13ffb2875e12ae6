"""The exact log model of a generated log: what a perfect fit would hand the planner."""

from __future__ import annotations

import numpy as np

from pithline.logmodel.model import EndPlane, LogModel, clock_angles

from .logs import MARGIN, TrueLog


def to_model(log: TrueLog, scan_to_log: np.ndarray | None = None, step: float = 20.0) -> LogModel:
    """`log` as a `LogModel` with standard errors of nought, its envelope with the stubs."""
    count = int(np.ceil((log.length + 2 * MARGIN) / step)) + 1
    x = np.linspace(-MARGIN, log.length + MARGIN, count)
    clock = clock_angles()
    near = np.linspace(-0.5, 0.5, 5)
    fine_x = x[:, None] + near * (x[1] - x[0])
    fine_clock = clock[:, None] + near * (clock[1] - clock[0])
    reach = log.envelope_radius(fine_x[:, None, :, None], fine_clock[None, :, None, :]).max(axis=(2, 3))
    outline = log.over_bark_radius(x[:, None], clock)
    bare = log.over_bark_radius(fine_x[:, None, :, None], fine_clock[None, :, None, :]).max(axis=(2, 3))
    (butt, butt_normal), (top, top_normal) = log.end_planes()
    nought = np.zeros(count)
    return LogModel(
        x=x,
        centre=log.centre(x),
        pith=log.pith(x),
        radius_over_bark=outline,
        radius_under_bark=log.under_bark_radius(x[:, None], clock),
        envelope=np.where(reach > bare + 0.1, reach, outline),
        coverage=np.ones(count),
        stderr_centre=nought,
        stderr_pith=nought,
        stderr_radius=np.zeros((count, len(clock))),
        length=log.length,
        butt=EndPlane(butt, butt_normal),
        top=EndPlane(top, top_normal),
        scan_to_log=np.eye(4) if scan_to_log is None else scan_to_log,
        sapwood_thickness=log.sapwood,
        spiral=log.spiral,
    )
