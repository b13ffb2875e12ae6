"""Laws of planning anew, wherever the earlier plan was broken off and whatever was found."""

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replan_work import earlier_script, operations_until, planned_anew, replayed

CUTS = [one["id"] for one in earlier_script()["operations"] if one["op"] == "cut"]
KNOTS = st.builds(
    lambda x, clock, wide: {"defect": [{"kind": "knot", "x": x, "clock_deg": clock, "diameter": wide, "margin": 4.0}]},
    st.floats(50.0, 780.0),
    st.floats(0.0, 359.0),
    st.floats(10.0, 70.0),
)
PITHS = st.builds(
    lambda x, up, right: {"pith": {"seen": [{"x": x, "up": up, "right": right}]}},
    st.floats(0.0, 800.0),
    st.floats(-10.0, 10.0),
    st.floats(-10.0, 10.0),
)
BARK = st.builds(lambda thickness: {"bark": {"thickness": thickness}}, st.floats(5.0, 18.0))
FOUND = st.one_of(st.just({}), KNOTS, PITHS, BARK)


@settings(max_examples=7)
@given(st.one_of(st.sampled_from(CUTS[:20]), st.sampled_from(CUTS)), FOUND)
def test_what_is_sawn_stays_and_nothing_is_used_twice(after, found):
    """History is a prefix, its planes untouched; every piece is sawn once at most; the new script holds."""
    old, new = earlier_script(), planned_anew(after, found)
    assert replayed(new).holds
    kept = operations_until(old, after)
    free = {"minutes": 0, "mark_room": None}  # of a setting that was broken off they are those of the cuts made
    for one, other in zip(kept, new["operations"], strict=False):
        assert one | free == other | free
    for one in new["operations"][: len(kept)]:
        if "mark_room" in one:
            blades = [cut["blade_height"] for cut in kept if cut.get("setting") == one["id"]]
            assert one["mark_room"]["up"] == pytest.approx(
                new["inputs"]["mill"]["mill"]["blade_max"] - max(blades), abs=0.1
            )
    sawn = Counter(one["piece"] for one in new["operations"] if one["op"] == "cut")
    made = Counter(one[side] for one in new["operations"] if one["op"] == "cut" for side in ("above", "below"))
    assert max(sawn.values()) == 1 and max(made.values()) == 1
    assert set(sawn) <= set(made) | {"log"}
    assert {one["id"] for one in new["plates"]} <= set(made) - set(sawn)
    proof = new["proof"]
    assert proof["bound"] >= proof["objective"] - 1.0 and 0.0 <= (proof["gap"] or 0.0) <= 1.0


@pytest.mark.parametrize("after", [CUTS[1], CUTS[15]])
def test_looking_again_costs_nothing(after):
    """Planned anew with nothing found, and again at the same place, the plan keeps at least most of what it gave."""
    once = planned_anew(after)
    again = planned_anew(after, script=once)
    assert again["totals"]["instrument_volume"] >= 0.95 * once["totals"]["instrument_volume"]
