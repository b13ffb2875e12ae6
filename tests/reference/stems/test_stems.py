"""Real scanned stems against circles fitted slice by slice (see SOURCE.md)."""

import os
from pathlib import Path

import numpy as np
import pytest

from pithline.files.scans import read_scan
from pithline.logmodel import dimensions
from pithline.logmodel.card import Card
from pithline.logmodel.fit import fit_log

HERE = Path(__file__).parent
ELSEWHERE = os.environ.get("PITHLINE_STEMS")
CASES = [(HERE, "stem-a-section", 3.0)]
if ELSEWHERE:
    CASES += [(Path(ELSEWHERE), f"stem-{name}", 3.0 if name in "ab" else 6.0) for name in "abcd"]


@pytest.mark.parametrize(("folder", "name", "most"), CASES, ids=[name for _, name, _ in CASES])
def test_equal_area_radius(folder, name, most):
    scan = read_scan(folder / f"{name}.ply")
    # the stems stand; laid down along z, any side may be up
    model = fit_log(scan.points, Card(name, "black walnut", None, up="+x"))
    table = np.genfromtxt(folder / f"{name}.reference.csv", delimiter=",", names=True)
    centres = np.column_stack([table["cx_m"], table["cy_m"], table["station_m"]])
    turn = model.scan_to_log
    x = (centres @ turn[:3, :3].T + turn[:3, 3])[:, 0]
    within = (x > 0) & (x < model.length)
    apart = dimensions.diameters(model, x[within]) / 2 - 1000 * table["radius_m"][within]
    assert within.mean() > 0.9
    assert np.sqrt(np.mean(apart**2)) < most
