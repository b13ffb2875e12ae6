"""Green log weights against a published table."""

import pytest

from pithline.logmodel.species import species_of
from pithline.trade.volumes import circle_area
from pithline.trade.weights import GREEN_WEIGHT_SPREAD, KG_M3_PER_LB_FT3, heaviest_likely, weight, wet_density
from pithline.units import KG_PER_POUND, MM_PER_INCH
from reference.reading import rows

FOOT = 12 * MM_PER_INCH


def test_species_weigh_what_the_table_says():
    for row in rows(__file__, "density.csv"):
        published = float(row["lb_per_ft3"]) * KG_M3_PER_LB_FT3
        assert species_of(row["species"]).green_density == pytest.approx(published, abs=0.6)


def test_walnut_logs_by_the_foot():
    walnut = species_of("black walnut").green_density
    for row in rows(__file__, "per_foot.csv"):
        pounds = weight(circle_area(float(row["inches"]) * MM_PER_INCH) * FOOT, walnut) / KG_PER_POUND
        assert pounds == pytest.approx(float(row["pounds_per_foot"]), abs=0.6)  # whole pounds, and 58 is rounded too


def test_a_walnut_log_of_20_inches_and_8_feet():
    """1012 lb or 459 kg at 58 lb/ft³: worked from the table."""
    volume = circle_area(20 * MM_PER_INCH) * 8 * FOOT
    assert weight(volume, 58 * KG_M3_PER_LB_FT3) == pytest.approx(459, abs=0.5)
    assert heaviest_likely(1012) == pytest.approx(1012 * (1 + GREEN_WEIGHT_SPREAD))


def test_density_by_specific_gravity_lies_within_the_spread_of_the_table():
    """Walnut heartwood, 0.51 at 90 %: 969 kg/m³ or 60.5 lb/ft³, against 58 in the table."""
    computed = wet_density(0.51, 90.0)
    assert computed == pytest.approx(969, abs=0.5)
    assert abs(computed / (58 * KG_M3_PER_LB_FT3) - 1) < GREEN_WEIGHT_SPREAD
