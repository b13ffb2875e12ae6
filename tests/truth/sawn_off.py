"""A cut script as hands saw it: every setting of a log, half or bolt a little off, and all that is sawn of it with it."""

from __future__ import annotations

from copy import deepcopy

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def sawn_off(script: dict, seed: int, shift: float = 1.0, turn_deg: float = 0.3) -> dict:
    """The script with the faces of each setting moved by up to ± `shift` mm and turned by up to ± `turn_deg` about the log's axis.

    What is sawn of a piece later is measured from its faces, so it moves along; plates lie where the saw then leaves them.
    """
    rng, out = np.random.default_rng(seed), deepcopy(script)
    motions: dict[str, Array] = {"log": np.eye(4)}
    kinds = {piece["id"]: piece["kind"] for piece in script["pieces"]}
    own, middle = np.eye(4), _middle(script)
    for op in out["operations"]:
        if op["op"] == "setting":
            own = np.eye(4)
            if op["tool"] == "mill" or (op["tool"] == "resaw" and kinds.get(op["piece"]) in ("bolt", "half")):
                own = _motion(np.asarray(op.get("up", (0.0, 0.0, 1.0)), float), middle, rng, shift, turn_deg)
            continue
        motion = own @ motions[op["piece"]]
        normal, offset = np.asarray(op["normal"], float), op["offset"]
        turned = motion[:3, :3] @ normal
        op["normal"], op["offset"] = (
            turned.tolist(),
            float(turned @ (motion[:3, :3] @ (normal * offset) + motion[:3, 3])),
        )
        for side in ("above", "below"):
            motions[op[side]] = motion
        own = np.eye(4)  # further cuts of the setting share its motion, held by the piece that stays
    for plate in out["plates"]:
        motion = motions[plate["id"]]
        plate["corner"] = (motion[:3, :3] @ np.asarray(plate["corner"], float) + motion[:3, 3]).tolist()
        plate["edges"] = (np.asarray(plate["edges"], float) @ motion[:3, :3].T).tolist()
    return out


def _middle(script: dict) -> Array:
    stations = script["model"]["stations"]
    own = stations[len(stations) // 2]
    return np.array([own["x"], *own["pith"]])


def _motion(up: Array, middle: Array, rng: np.random.Generator, shift: float, turn_deg: float) -> Array:
    """A turn about the log's axis through its middle and a shift along `up`, (4, 4)."""
    turn = np.radians(rng.uniform(-turn_deg, turn_deg))
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.eye(4)
    matrix[1:3, 1:3] = [[c, -s], [s, c]]
    matrix[:3, 3] = middle - matrix[:3, :3] @ middle + rng.uniform(-shift, shift) * up
    return matrix
