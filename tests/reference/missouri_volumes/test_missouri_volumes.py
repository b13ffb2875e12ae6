"""Volume formulas against published figures and solids of known volume."""

import math

import pytest
import trimesh

from pithline.trade.volumes import circle_area, cone_frustum, huber, neiloid_frustum, newton, smalian
from reference.reading import rows

PER_LENGTH = {"in_ft": 12.0, "cm_m": 100.0}


@pytest.mark.parametrize("row", rows(__file__, "volumes.csv"), ids=lambda row: row["unit"])
def test_published_volumes(row):
    per = PER_LENGTH[row["unit"]]
    small, large = (circle_area(float(row[end]) / per) for end in ("small", "large"))
    length, tolerance = float(row["length"]), float(row["tolerance"])
    assert smalian(small, large, length) == pytest.approx(float(row["smalian"]), abs=tolerance)
    assert cone_frustum(small, large, length) == pytest.approx(float(row["cone"]), abs=tolerance)
    assert neiloid_frustum(small, large, length) == pytest.approx(float(row["neiloid"]), abs=tolerance)


def between(power: float, small: float, large: float, x: float) -> float:
    """Area a share x of the way along a solid whose area grows with the given power of the distance from its tip."""
    if power == 0:
        return small
    return (small ** (1 / power) * (1 - x) + large ** (1 / power) * x) ** power


@pytest.mark.parametrize("power", [0, 1, 2, 3], ids=["cylinder", "paraboloid", "cone", "neiloid"])
def test_newton_is_exact_on_every_solid_of_revolution_of_the_trade(power):
    small, large, length = 0.05, 0.05 if power == 0 else 0.09, 4.0
    known = length * math.fsum(between(power, small, large, (k + 0.5) / 20000) for k in range(20000)) / 20000
    middle = between(power, small, large, 0.5)
    assert newton(small, middle, large, length) == pytest.approx(known, rel=1e-8)
    if power <= 1:
        assert smalian(small, large, length) == pytest.approx(known, rel=1e-8)
        assert huber(middle, length) == pytest.approx(known, rel=1e-8)
    else:
        assert huber(middle, length) < known < smalian(small, large, length)
    if power == 2:
        assert cone_frustum(small, large, length) == pytest.approx(known, rel=1e-8)
    if power == 3:
        assert neiloid_frustum(small, large, length) == pytest.approx(known, rel=1e-8)


def test_newton_agrees_with_the_volume_of_a_mesh():
    """A cone frustum of 2880 sides between 250 and 290 mm; a mesh of flat sides lies a little within the round one."""
    ring = [(125.0, 0.0), (145.0, 5000.0)]
    mesh = trimesh.creation.revolve([(0.0, 0.0), ring[0], ring[1], (0.0, 5000.0)], sections=2880)
    areas = [circle_area(d) for d in (250.0, 270.0, 290.0)]
    assert newton(*areas, 5000.0) == pytest.approx(abs(mesh.volume), rel=2e-6)
