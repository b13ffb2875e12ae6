"""The log solid rebuilt from a script's model, against a cylinder's own volume."""

import os
import subprocess
import sys
from pathlib import Path

import manifold3d
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
    (above, below), dust = cut(log, *plane), sawdust(log, *plane)
    assert above.volume() + below.volume() + dust == pytest.approx(log.volume(), rel=1e-4)
    middle = offset - (0.6 * 5.0 - 0.8 * 3.0)
    assert dust == pytest.approx(2.0 * np.sqrt(300.0**2 - middle**2) * 3.0 * 1000.0, rel=2e-3)
    assert above.volume() < below.volume() if middle > 0 else above.volume() > below.volume()


@pytest.mark.parametrize("normal", [(0.0, 0.0, 1.0), (0.0, 0.6, -0.8), (0.48, 0.6, 0.64)])
@pytest.mark.parametrize("offset", [-700.0, -299.0, -40.0, 0.0, 1.0, 297.0, 1500.0])
def test_sawdust_is_what_two_cuts_leave_between_them(normal, offset):
    log, kerf, n = log_solid(cylinder()), 3.0, np.array(normal)
    slice_of_it = log.trim_by_plane(tuple(n), offset - kerf / 2.0).trim_by_plane(tuple(-n), -(offset + kerf / 2.0))
    assert sawdust(log, normal, offset, kerf) == pytest.approx(slice_of_it.volume(), rel=1e-6, abs=1.0)


def test_sawdust_of_a_cube_along_its_faces_and_its_corners():
    cube = manifold3d.Manifold.cube((10.0, 10.0, 10.0))
    known = ((-5.0, 0.0), (0.0, 150.0), (5.0, 300.0), (10.0, 150.0), (12.0, 0.0))
    for offset, volume in known:
        assert sawdust(cube, (0.0, 0.0, 1.0), offset, 3.0) == pytest.approx(volume, abs=1e-9)
    corner = np.sqrt(3.0) * 2.0  # x + y + z = 6 cuts a corner off: a pyramid of 6³ / 6
    over = (np.sqrt(3.0) * (corner + 0.5)) ** 3 / 6.0 - (np.sqrt(3.0) * (corner - 0.5)) ** 3 / 6.0
    assert sawdust(cube, tuple(np.full(3, 1.0 / np.sqrt(3.0))), corner, 1.0) == pytest.approx(over, rel=1e-9)
    assert sawdust(manifold3d.Manifold(), (0.0, 0.0, 1.0), 0.0, 3.0) == 0.0


def test_stations_out_of_order_or_without_wood_are_errors():
    with pytest.raises(ScriptError, match="do not rise"):
        log_solid(cylinder() | {"stations": cylinder()["stations"][::-1]})
    with pytest.raises(ScriptError, match="closed log"):
        log_solid(cylinder(radius=0.0))


@pytest.mark.skipif(not hasattr(os, "sched_getaffinity"), reason="only Linux tells and sets cores")
def test_solids_are_made_by_one_thread_and_cores_are_given_back():
    program = (
        "import os\n"
        "from pithline.script.solid import log_solid\n"
        "from unit.test_script_solid import cylinder\n"
        "cores = os.sched_getaffinity(0)\n"
        "before = len(os.listdir('/proc/self/task'))\n"
        "log = log_solid(cylinder(length=3000.0))\n"
        "for height in range(0, 200, 20):\n"
        "    log.trim_by_plane((0.0, 0.0, 1.0), float(height)).volume()\n"
        "print(os.sched_getaffinity(0) == cores, len(os.listdir('/proc/self/task')) == before)\n"
    )
    root = Path(__file__).resolve().parents[1]
    path = os.pathsep.join([str(root), *sys.path])
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    assert done.stdout.split() == ["True", "True"]
