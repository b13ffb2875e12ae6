"""The order of set-ups: every bolt is served in its own turn, and no shorter order would do."""

from itertools import permutations, product

from hypothesis import given
from hypothesis import strategies as st

from pithline.plan.execute.set_up_order import FREE, cost, set_up_order
from pithline.plan.problem.operations import Tool

FLAT, MILL_30 = (Tool.RESAW, 0.0), (Tool.MILL, 30.0)
RESAW_30, RESAW_15 = (Tool.RESAW, 30.0), (Tool.RESAW, 15.0)
KEYS = (FLAT, MILL_30, RESAW_30, RESAW_15)
PATHS = st.lists(st.lists(st.sampled_from(KEYS), min_size=1, max_size=3).map(tuple), min_size=1, max_size=4)


def serves(order, path):
    """Whether a bolt finds all its set-ups in turn; runs of one set-up follow one another."""
    done = 0
    for key in order:
        while done < len(path) and path[done] == key:
            done += 1
    return done == len(path)


def counted(order):
    return sum(cost(key) for key in order)


@given(PATHS)
def test_no_order_that_serves_all_bolts_counts_less(paths):
    """Against every order up to one set-up shorter, tried out."""
    found = set_up_order(paths)
    assert all(serves(found, path) for path in paths)
    keys = sorted({key for path in paths for key in path})
    for length in range(len(keys), len(found)):
        for other in product(keys, repeat=length):
            assert counted(other) > counted(found) - FREE / 2 or not all(serves(other, path) for path in paths)


@given(PATHS)
def test_what_is_left_of_an_order_is_the_order_of_what_is_left(paths):
    """So a log that is planned anew half way keeps its order."""
    found = set_up_order(paths)
    left = []
    for path in paths:
        done = 0
        while done < len(path) and path[done] == found[0]:
            done += 1
        left.append(path[done:])
    assert set_up_order(left) == found[1:]


def test_a_cradle_waits_for_bolts_that_need_it_later():
    """Three bolts ask for the mill's cradle at once, one after the resaw's: taken first by how many it serves, it would be set up twice."""
    paths = [(MILL_30,)] * 3 + [(RESAW_30, MILL_30)]
    assert set_up_order(paths) == (RESAW_30, MILL_30)
    assert set_up_order([*paths[:3], (FLAT, MILL_30)]) == (FLAT, MILL_30)
    assert len(set_up_order([(MILL_30, RESAW_30), (RESAW_30, MILL_30)])) == 3
    assert set_up_order([]) == ()


def test_many_bolts_are_served_all_the_same(monkeypatch):
    """More states than are looked through: the order is no longer proven, but every bolt has its turn."""
    monkeypatch.setattr("pithline.plan.execute.set_up_order.MOST_STATES", 5)
    paths = list(permutations(KEYS, 3))
    found = set_up_order(paths)
    assert all(serves(found, path) for path in paths)
