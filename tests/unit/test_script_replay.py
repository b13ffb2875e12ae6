"""Pieces and volumes of a hand-made script on a cylinder; each breach is found."""

import copy

import numpy as np
import pytest

from pithline.script.pieces import saw
from pithline.script.replay import volume_findings
from pithline.script.solid import cut, log_solid
from unit.test_script_solid import cylinder


def replay_pieces(document):
    sawn = saw(document)
    return (*sawn.findings, *volume_findings(document, sawn))


def script():
    model = cylinder()
    log = log_solid(model)
    above, below = cut(log, (0.0, 0.0, 1.0), 40.0, 3.0)
    operation = {
        "op": "cut",
        "id": "c1",
        "piece": "log",
        "normal": [0, 0, 1],
        "offset": 40.0,
        "kerf": 3.0,
        "above": "h1",
        "below": "h2",
    }
    pieces = [{"id": "h1", "volume": above.volume()}, {"id": "h2", "volume": below.volume()}]
    return {
        "model": model,
        "operations": [operation],
        "pieces": pieces,
        "totals": {"log_volume": np.pi * 300.0**2 * 1000.0},
    }


def test_a_true_script_has_no_finding():
    assert replay_pieces(script()) == ()


@pytest.mark.parametrize(
    ("path", "value", "kind"),
    [
        (("operations", 0, "offset"), 60.0, "piece-volume"),
        (("operations", 0, "piece"), "h9", "piece-unknown"),
        (("pieces", 0, "volume"), 1.0e6, "piece-volume"),
        (("totals", "log_volume"), 2.0e8, "balance"),
    ],
)
def test_each_breach_is_found(path, value, kind):
    document = script()
    place = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    assert kind in {one.kind for one in replay_pieces(document)}


def test_a_piece_used_twice_is_found():
    document = script()
    document["operations"].append(copy.deepcopy(document["operations"][0]) | {"id": "c2", "above": "a", "below": "b"})
    assert "piece-used" in {one.kind for one in replay_pieces(document)}
