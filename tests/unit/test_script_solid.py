"""The log solid rebuilt from a script's model, against a cylinder's own volume."""

import numpy as np
import pytest

from pithline.errors import ScriptError
from pithline.script.solid import cut, log_solid, sawdust


def cylinder(radius=300.0, length=1000.0):
    stations = [
        {"x": float(x), "centre": [5.0, -3.0], "radius_under_bark": [radius] * 72}
        for x in np.arange(-25.0, length + 50, 25)
    ]
    ends = {"butt": {"point": [0, 5, -3], "normal": [-1, 0, 0]}, "top": {"point": [length, 5, -3], "normal": [1, 0, 0]}}
    return {"stations": stations, "ends": ends}


def test_volume_of_a_cylinder_between_its_ends():
    assert log_solid(cylinder()).volume() == pytest.approx(np.pi * 300.0**2 * 1000.0, rel=5e-4)


@pytest.mark.parametrize("offset", [-250.0, 0.0, 120.0])
def test_pieces_and_kerf_make_the_log(offset):
    log = log_solid(cylinder())
    plane = ((0.0, 0.6, 0.8), offset, 3.0)
    (above, below), dust = cut(log, *plane), sawdust(log, *plane).volume()
    assert above.volume() + below.volume() + dust == pytest.approx(log.volume(), rel=1e-4)
    middle = offset - (0.6 * 5.0 - 0.8 * 3.0)
    assert dust == pytest.approx(2.0 * np.sqrt(300.0**2 - middle**2) * 3.0 * 1000.0, rel=2e-3)
    assert above.volume() < below.volume() if middle > 0 else above.volume() > below.volume()


def test_stations_out_of_order_or_without_wood_are_errors():
    with pytest.raises(ScriptError, match="do not rise"):
        log_solid(cylinder() | {"stations": cylinder()["stations"][::-1]})
    with pytest.raises(ScriptError, match="closed log"):
        log_solid(cylinder(radius=0.0))
