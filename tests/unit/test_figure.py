"""Zones of figure: what lies within one is dearer, by the widest plates of a product alone."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.logmodel.card import Figure, figure_factor
from pithline.mill.products import Products
from pithline.plan.evaluate.totals import sum_up, totals
from pithline.plan.execute.grade import PlateGrade
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.problem.parts import sawn_parts
from small_plan import inputs_of

GOOD = PlateGrade(1.5, 1.55, 0.01, True, True)


def test_the_greatest_factor_of_the_zones_that_hold_a_stretch():
    zones = (Figure("curl", 1.5, 100.0, 900.0), Figure("crotch", 2.0, 600.0, None))
    assert figure_factor(zones, 150.0, 850.0) == 1.5
    assert figure_factor(zones, 650.0, 850.0) == 2.0
    assert figure_factor(zones, 50.0, 850.0) == 1.0
    assert figure_factor((Figure("curl", 1.3),), 0.0, 5000.0) == 1.3


def plates_of(parts, starts):
    """A mated pair of every part for each station where its plates begin."""
    out = []
    for n, start in enumerate(starts):
        for p, part in enumerate(parts):
            edges = (np.array([part.length, 0, 0]), np.array([0, part.width, 0]), np.array([0, 0, part.thickness]))
            for layer in range(part.part.count):
                name = f"plate-{n}-{p}-{layer}"
                corner = np.array([start, 0.0, layer * 10.0])
                out.append(Plate(name, p, corner, edges, GOOD, f"billet-{n}-{p}", layer, part.volume))
    return out


@pytest.fixture
def case():
    inputs = inputs_of()
    product = replace(inputs.products.products[0], price=100.0, demand=None)
    products: Products = replace(inputs.products, products=(product,))
    return inputs, products, sawn_parts(products, "black walnut")


def test_a_set_counts_the_factor_of_its_widest_plates(case):
    inputs, products, parts = case
    assert any(part.widest for part in parts)
    long = max(part.length for part in parts)
    ledger = Ledger(plates=plates_of(parts, [10.0, 10.0 + 2 * long]))
    zones = (Figure("curl", 1.5, 0.0, 20.0 + long),)
    plain = totals(sum_up(ledger, parts, products, {"log": 1e9}), products, inputs.machines)
    dear = totals(sum_up(ledger, parts, products, {"log": 1e9}, zones), products, inputs.machines)
    assert plain["sets"] == dear["sets"] and plain["value"] == pytest.approx(200.0)
    assert dear["value"] == pytest.approx(250.0)  # one of two sets lies in the zone: 1.5 × 100 + 100
    assert dear["earnings"] - plain["earnings"] == pytest.approx(50.0)


def test_figured_plates_go_into_one_set(case):
    _, products, parts = case
    long = max(part.length for part in parts)
    ledger = Ledger(plates=plates_of(parts, [10.0 + 2 * long, 10.0]))
    sums = sum_up(ledger, parts, products, {"log": 1e9}, (Figure("curl", 2.0, 0.0, 20.0 + long),))
    factors = {}
    for plate in sums.plates:
        if parts[plate.part].widest:
            factors.setdefault(plate.set_id, set()).add(plate.figure)
    assert sorted(map(tuple, factors.values())) == [(1.0,), (2.0,)]
