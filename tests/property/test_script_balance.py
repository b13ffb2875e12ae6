"""Kerf and pieces make up the log, however it is cut."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.script.pieces import piece_volumes, saw
from truth.logs import true_log
from unit.scripts_by_hand import model_document

LOGS = [model_document(true_log(kind, 3)) for kind in ("swept", "oval", "flared")]
OFFSETS = st.floats(-320.0, 320.0)
CUT = st.tuples(
    st.integers(0, 40), st.floats(0.0, 2.0 * np.pi), st.floats(-0.4, 0.4), OFFSETS, st.floats(0.5, 12.0), st.booleans()
)


def operations(cuts):
    """Cuts as drawn, each of one of the pieces left by then; a crosscut where the last item says so."""
    left, made = ["log"], []
    for number, (which, clock, lean, offset, kerf, across) in enumerate(cuts):
        piece = left.pop(which % len(left))
        flat = np.array([np.sin(lean), -np.cos(lean) * np.sin(clock), np.cos(lean) * np.cos(clock)])
        normal = np.array([1.0, 0.0, 0.0]) if across else flat
        made.append({"op": "cut", "id": f"c{number}", "piece": piece, "normal": normal.tolist(),
                     "offset": 700.0 + offset if across else offset, "kerf": kerf,
                     "above": f"a{number}", "below": f"b{number}"})  # fmt: skip
        left += [f"a{number}", f"b{number}"]
    return made


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.integers(0, len(LOGS) - 1), st.lists(CUT, min_size=1, max_size=8))
def test_kerf_and_pieces_make_the_log(which, cuts):
    document = {"model": LOGS[which], "operations": operations(cuts)}
    sawn = saw(document)
    assert sawn.findings == []
    assert len(sawn.leaves()) == len(cuts) + 1
    total = sum(sawn.volumes[name] for name in sawn.leaves()) + sawn.kerf_volume
    assert abs(total / sawn.log_volume - 1.0) < 1e-4
    assert piece_volumes(document) == sawn.volumes
    for name, used in sawn.used_by.items():
        parts = [one for one in document["operations"] if one["id"] == used]
        inside = sum(sawn.volumes[parts[0][side]] for side in ("above", "below"))
        assert inside <= sawn.volumes[name] * (1.0 + 1e-6) + 1.0
