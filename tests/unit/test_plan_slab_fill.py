"""One slab as it truly lies: strips, billets and layers, sound by closed form and worth what HiGHS says."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from pithline.mill.products import Product, Products
from pithline.plan.execute.grade import grade_plate
from pithline.plan.execute.slab_fill import FillRequest, SlabToFill, fill_slabs
from pithline.plan.execute.slab_view import SlabFrame, layer_count
from pithline.plan.problem.economics import Objective
from pithline.plan.problem.log_frame import normal_at, plan_log
from pithline.plan.search import price_start
from truth.models import to_model
from unit.closed_slabs import PITH_RADIUS, SHOP, passes, worth_by_milp
from unit.small_logs import BACK, RULE, STRAIGHT, TRADE, log_of, products_of, shop_of

SAWS = SHOP.saws


@pytest.fixture(scope="module")
def log():
    return log_of(pith_radius=PITH_RADIUS)


def lay_out(log, slab, shop, reserve=True, cache=None, sawn=None):
    """Strips of one slab, filled for what the shop sells."""
    prices = price_start(shop.economics)
    return fill_slabs([SlabToFill(log, slab, cache)], shop, FillRequest(shop.economics, prices, reserve), sawn).strips[
        0
    ]


def frame_of(log, low, thickness, clock=0.4, least=None):
    """A slab of the whole log, or of what lies at lateral `least` and beyond."""
    normal = normal_at(log.axis, clock)
    lateral = np.cross(normal, log.axis)
    bounds = () if least is None else ((-lateral, -least),)
    return SlabFrame(log.axis, normal, lateral, low, low + thickness, bounds)


def plates_of(slab, strips, parts):
    """(part, place, start, middle) of every plate."""
    for strip in strips:
        for billet in strip.billets:
            part = parts[billet.part]
            for layer in billet.layers:
                middle = slab.low + layer * (part.thickness + SAWS.resaw_kerf) + part.thickness / 2
                yield part, strip.place, billet.start, middle


CASES = [(-30.0, 60.0, None), (-5.0, 11.2, None), (8.0, 36.0, None), (-25.0, 48.4, -20.0), (-40.0, 20.0, 15.0)]


@pytest.mark.parametrize(("low", "thickness", "least"), CASES)
def test_every_plate_chosen_passes_by_closed_form_and_by_its_own_grade(log, low, thickness, least):
    slab = frame_of(log, low, thickness, least=least)
    strips = lay_out(log, slab, SHOP)
    found = list(plates_of(slab, strips, SHOP.parts))
    for part, place, start, middle in found:
        wide = SAWS.strip_width(part.width)
        assert passes(part, middle, place, wide, 0.0, 0.0)
        assert least is None or place >= least
        assert start >= 25.0 and start + part.length <= 575.0
        corner = slab.point(start, place, middle - part.thickness / 2)
        edges = (part.length * slab.axis, wide * slab.lateral, part.thickness * slab.normal)
        assert grade_plate(log, corner, edges, part.limits).passes
    assert found or (low, thickness, least) == CASES[4]


@pytest.mark.parametrize(("low", "thickness", "least"), CASES)
def test_strips_and_billets_leave_room_for_the_saws(log, low, thickness, least):
    slab = frame_of(log, low, thickness, least=least)
    strips = lay_out(log, slab, SHOP)
    for one, other in pairwise(sorted(strips, key=lambda strip: strip.place)):
        assert other.place >= one.place + SAWS.strip_width(one.width) + SAWS.rip_kerf - 1e-6
    for strip in strips:
        for one, other in pairwise(strip.billets):
            assert other.start >= one.start + SHOP.parts[one.part].length + SAWS.crosscut_kerf - 1e-6
        for billet in strip.billets:
            part = SHOP.parts[billet.part]
            assert part.width <= strip.width + 1e-6
            assert all(0 <= k < layer_count(slab, part, SAWS) for k in billet.layers)
            assert len(set(billet.layers)) == len(billet.layers)


@pytest.mark.parametrize(("low", "thickness", "least"), CASES)
def test_a_slab_is_worth_what_highs_finds(log, low, thickness, least):
    """Between the best of places that are surely possible and of places more generous than any."""
    slab = frame_of(log, low, thickness, least=least)
    strips = lay_out(log, slab, SHOP)
    worth = sum(part.volume / 1e6 for part, *_ in plates_of(slab, strips, SHOP.parts))
    bound = -np.inf if least is None else least
    surely = worth_by_milp(low, thickness, -1, least=bound, grow=4.0, gap_doubt=8.0)
    at_most = worth_by_milp(low, thickness, 1, least=bound - 10.0, grow=-5.0, gap_doubt=-5.0)
    assert surely - 1e-6 <= worth <= at_most + 1e-6
    assert at_most < 3.5


@pytest.mark.parametrize("layers", [1, 2, 3, 5])
def test_layers_of_a_billet(log, layers):
    part = SHOP.parts[0]
    exact = layers * part.thickness + (layers - 1) * SAWS.resaw_kerf
    assert layer_count(frame_of(log, 0.0, exact), part, SAWS) == layers
    assert layer_count(frame_of(log, 0.0, exact - 0.2), part, SAWS) == layers - 1


def test_what_is_not_wanted_any_more_is_not_cut(log):
    slab = frame_of(log, -30.0, 60.0)
    for left in ([0, np.inf], [3, 0], [0, 0]):
        strips = lay_out(log, slab, replace(SHOP, left=np.array(left, float)))
        cut = [sum(part is one for part, *_ in plates_of(slab, strips, SHOP.parts)) for one in SHOP.parts]
        assert [n > 0 for n in cut] == [most > 0 for most in left]


def counts_of(filled, shop):
    """Mated and single plates by part of some filled slabs, (P, 2)."""
    out = np.zeros((len(shop.parts), 2), np.int64)
    for strips in filled:
        for strip in strips:
            for billet in strip.billets:
                runs = np.split(np.array(billet.layers), np.flatnonzero(np.diff(billet.layers) > 1) + 1)
                out[billet.part] += [sum(len(run) // 2 * 2 for run in runs), sum(len(run) % 2 for run in runs)]
    return out


def test_slabs_are_filled_for_whole_sets(log):
    """Backs and rules of one product: together the slabs make more sets than each filled for itself, and none is worth less."""
    guitar = Products("green", (TRADE,), (Product("guitar", 10.0, "trade", (BACK, replace(RULE, count=4))),))
    shop = shop_of(guitar, objective=Objective.SETS)
    market, prices = shop.economics.market, price_start(shop.economics)
    slabs = [frame_of(log, low, thick) for low, thick in ((-30.0, 60.0), (-5.0, 11.2), (8.0, 36.0), (-25.0, 48.4))]
    asked = [SlabToFill(log, slab) for slab in slabs]
    together = fill_slabs(asked, shop, FillRequest(shop.economics, prices))
    one_by_one = [fill_slabs([one], shop, FillRequest(shop.economics, prices)).strips[0] for one in asked]
    worths = [market.worth(*counts_of(each, shop).T) for each in (together.strips, one_by_one)]
    assert worths[0][0] >= worths[1][0] - 1e-6 and worths[0][1][0] >= worths[1][1][0] > 0


def test_plates_that_are_there_already_count_beside_those_of_the_slab(log):
    """Four rules a set, and the backs of five in hand: a slab is filled with rules that make up sets with them."""
    guitar = Products("green", (TRADE,), (Product("guitar", 10.0, "trade", (BACK, replace(RULE, count=4)), 5),))
    shop = shop_of(guitar, objective=Objective.SETS)
    slab = frame_of(log, -30.0, 60.0)
    sawn = np.array([[10, 0], [0, 0]])
    alone, beside = lay_out(log, slab, shop), lay_out(log, slab, shop, sawn=sawn)
    counts = [counts_of([strips], shop) for strips in (alone, beside)]
    assert counts[1][1].sum() > counts[0][1].sum()
    worths = [shop.economics.market.worth(*(sawn + one).T)[0] for one in counts]
    assert worths[1] > worths[0]


def test_a_part_wider_than_the_resaw_takes_is_left_out(log):
    slab = frame_of(log, -30.0, 60.0)
    low = replace(SHOP.machines, resaw=replace(SHOP.machines.resaw, height_max=100.0))
    strips = lay_out(log, slab, replace(SHOP, machines=low))
    assert strips and {part.part.name for part, *_ in plates_of(slab, strips, SHOP.parts)} == {"rule"}


def test_a_reserve_never_gives_more(log):
    slab = frame_of(log, -30.0, 60.0)
    counts = [
        sum(1 for _ in plates_of(slab, lay_out(log, slab, SHOP, reserve=reserve), SHOP.parts))
        for reserve in (True, False)
    ]
    assert counts[0] <= counts[1]


def test_what_was_seen_before_is_seen_the_same(log):
    cache = {}
    slab = frame_of(log, -30.0, 60.0)
    first, again = (lay_out(log, slab, SHOP, cache=cache) for _ in range(2))
    assert first == again == lay_out(log, slab, SHOP)


def test_nothing_comes_of_a_slab_without_wood(log):
    assert lay_out(log, frame_of(log, 160.0, 30.0), SHOP) == ()


@pytest.mark.parametrize("sapwood", ["none", "edge", "any"])
def test_sapwood_as_the_limits_have_it(sapwood):
    """40 mm of sapwood: without any a back of 110 mm fits once between pith circle and heartwood's edge, else further out."""
    limits = replace(SHOP.parts[0].limits, sapwood=sapwood, sapwood_edge=25.0)
    model = to_model(replace(STRAIGHT, sapwood=40.0))
    log = plan_log(model, 10.0, 25.0, 25.0, ())
    shop = shop_of(products_of(replace(BACK, width=95.0), limits=limits))
    slab = frame_of(log, -6.0, 11.2)
    strips = lay_out(log, slab, shop)
    assert strips
    for part, place, start, middle in plates_of(slab, strips, shop.parts):
        wide = SAWS.strip_width(part.width)
        corner = slab.point(start, place, middle - part.thickness / 2)
        edges = (part.length * slab.axis, wide * slab.lateral, part.thickness * slab.normal)
        far = np.hypot(max(abs(place), abs(place + wide)), abs(middle) + part.thickness / 2)
        passed = grade_plate(log, corner, edges, part.limits).passes
        if sapwood == "none":
            assert far <= 110.0
        elif sapwood == "edge":
            assert passed == (far <= 110.0 + 25.0 + 1.0)
        if sapwood != "edge":
            assert passed


def test_a_billet_holds_enough_of_a_face_to_lie_on(log):
    """A wedge that opens by 36° within a slab: up to where it is as thick as the slab it holds neither of its faces."""
    plain = frame_of(log, -30.0, 60.0)
    edge, lean = 10.0, np.radians(18.0)
    faces = [side * np.cos(lean) * plain.normal - np.sin(lean) * plain.lateral for side in (1.0, -1.0)]
    bounds = tuple((n, float(n @ plain.point(0.0, edge, 0.0))) for n in faces)
    thick_from = edge + 30.0 / np.tan(lean)

    def widths(far):
        """Breadths of billets of the wedge up to `far`, and how much of each lies where the wedge is as thick as the slab."""
        strips = lay_out(log, replace(plain, bounds=(*bounds, (plain.lateral, far))), SHOP)
        places = [(strip.place, SHOP.parts[billet.part].width) for strip in strips for billet in strip.billets]
        return [(width, place + width - max(place, thick_from)) for place, width in places]

    rule = RULE.width
    assert widths(thick_from + 0.1 * rule) == []
    found = widths(thick_from + 0.6 * rule)
    assert found and all(held > 0.2 * width - 2 * SAWS.across for width, held in found)
