"""What a search says while it runs."""

from pithline.plan.api import Monitor
from pithline.yard.watch import PlanWatch


def test_the_best_rises_and_the_bound_is_that_of_the_widest_class():
    said = []
    standing = PlanWatch(Monitor(lambda what, part: said.append((what, part))), "L")
    standing.tell("practice layout", 0.1)
    standing.found(10.0)
    standing.tell("wood", 0.2)
    standing.found(12.0, 15.0)
    standing.found(11.0, 14.0)
    standing.tell("refining", 0.8)
    standing.found(15.5)
    standing.tell("refining", 0.9)
    assert said == [
        ("practice layout", 0.1),
        ("wood: best so far 10.0 L, net of charges", 0.2),
        ("refining: best so far 12.0 L, at most 15.0 L, net of charges", 0.8),
        ("refining: best so far 15.5 L, net of charges", 0.9),
    ]


def test_what_is_done_never_goes_back():
    said = []
    standing = PlanWatch(Monitor(lambda what, part: said.append(part)), "L")
    for part in (0.2, 0.6, 0.5, 0.7):
        standing.tell("searching", part)
    assert said == [0.2, 0.6, 0.6, 0.7]


def test_a_plan_made_meanwhile_is_told_once_it_is_in_hand():
    said, asked = [], []

    def coming():
        asked.append(len(asked))
        return 7.5 if len(asked) > 1 else None

    standing = PlanWatch(Monitor(lambda what, part: said.append(what)), "L", coming=coming)
    for _ in range(3):
        standing.tell("wood", 0.2)
    assert said == ["wood", *["wood: best so far 7.5 L, net of charges"] * 2]
    assert asked == [0, 1]  # not asked again after that
