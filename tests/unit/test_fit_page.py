"""The page that a fit is judged by, and the command that writes it."""

import io
import json
from dataclasses import replace

import matplotlib.image
import numpy as np
import pytest
from matplotlib.colors import to_rgb

from pithline.cli.main import main
from pithline.logmodel.document import model_from_json, model_to_json
from pithline.logmodel.model import FitFinding
from pithline.outputs.fit_judgement import COLOURS, sections_shown
from pithline.outputs.fit_page import dimension_rows, fit_page
from pithline.script.schema import validate
from truth.by_hand import cylinder
from truth.models import to_model
from truth.samples import sample_truth
from truth.scans import simulate_scan, write_binary_ply


@pytest.fixture(scope="module")
def model():
    return to_model(cylinder(radius=290.0, length=1200.0))  # 10 mm of bark over it


def test_page_of_a_cylinder_is_the_same_each_time(model):
    rng = np.random.default_rng(3)
    clock, x = rng.uniform(-2.2, 2.2, 4000), rng.uniform(0, 1200, 4000)
    points = np.column_stack([x, -300.0 * np.sin(clock), 300.0 * np.cos(clock)])
    pdf, png = fit_page(model, points, None, "w")
    assert pdf.startswith(b"%PDF")
    assert matplotlib.image.imread(io.BytesIO(png), format="png").shape[:2] == (1075, 1519)
    assert fit_page(model, points, None, "w") == (pdf, png)


def test_dimensions_of_a_cylinder(model):
    rows = {name: value for name, value, _ in dimension_rows(model, None)}
    assert rows["length"] == "1200 ± 1 mm"
    assert rows["girth, butt"] == f"{2 * np.pi * 300:.0f} mm"
    assert rows["wood under bark"].startswith(f"{np.pi * 0.29**2 * 1200:.0f} ")


def test_command_writes_model_and_page(tmp_path, capsys):
    log = sample_truth("af-15")
    scan = simulate_scan(log, 3, points=15_000)
    write_binary_ply(tmp_path / "w.ply", scan.points)
    (tmp_path / "w.toml").write_text(
        '[log]\nid = "w"\nspecies = "black walnut"\nscan = "w.ply"\n[bark]\nthickness = "8.5 mm"\n'
        f'[tape]\nlength = "{log.length:.0f} mm"\n'
    )
    assert main(["fit", str(tmp_path / "w.toml"), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr()
    assert "caution: No pith mark" in said.err and "1200 mm" in said.out
    assert sorted(one.name for one in (tmp_path / "out").iterdir()) == ["fit.pdf", "fit.png", "log-model.json"]
    document = json.loads((tmp_path / "out" / "log-model.json").read_text(encoding="utf-8"))
    validate(document, "log-model")
    again = model_to_json(model_from_json(document))
    for key in ("length", "ends", "removed", "cautions", "suspected_knots", "pith_assumed"):
        assert again[key] == document[key]
    assert again["volume_under_bark"] == pytest.approx(document["volume_under_bark"], rel=1e-6)


def test_command_refuses_what_holds_no_log(tmp_path, capsys):
    rng = np.random.default_rng(1)
    write_binary_ply(tmp_path / "w.ply", np.column_stack([rng.uniform(-2, 2, (9000, 2)), rng.normal(0, 0.004, 9000)]))
    (tmp_path / "w.toml").write_text('[log]\nid = "w"\nspecies = "black walnut"\nscan = "w.ply"\n')
    assert main(["fit", str(tmp_path / "w.toml"), "--out", str(tmp_path / "out")]) == 2
    assert "w.ply: the scan shows ground but no log" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


FOUND = FitFinding("outline", 700.0, 1.0, 9.0, "Outline off by 9 mm at 0.7 m, 2 o'clock: look at fit.png there.")


def banner_colour(model):
    rng = np.random.default_rng(3)
    clock, x = rng.uniform(-2.2, 2.2, 4000), rng.uniform(0, 1200, 4000)
    image = matplotlib.image.imread(
        io.BytesIO(fit_page(model, np.column_stack([x, -300.0 * np.sin(clock), 300.0 * np.cos(clock)]))[1]),
        format="png",
    )
    return image[55, 1000, :3]


@pytest.mark.parametrize("said", ["sound", "look here", "scan again"])
def test_the_page_says_its_verdict_in_colour(model, said):
    found = () if said == "sound" else (FOUND,)
    expected = to_rgb(COLOURS[said])
    assert banner_colour(replace(model, verdict=said, findings=found)) == pytest.approx(expected, abs=0.01)


def test_sections_lie_where_something_was_found(model):
    usual = [at for at, _ in sections_shown(model)]
    assert usual == pytest.approx([96.0, 432.0, 768.0, 1104.0])
    shown = sections_shown(
        replace(model, findings=(FitFinding("girth", 0, 0, 0.4, "Little."), FOUND), verdict="look here")
    )
    assert len(shown) == 4 and [at for at, _ in shown] == sorted(at for at, _ in shown)
    # numbered as in the words: the first is of the whole log
    assert [(at, one[0]) for at, one in shown if one] == [(700.0, 2)]
    crowd = tuple(replace(FOUND, x=20.0 * k) for k in range(60))
    crowded = [at for at, _ in sections_shown(replace(model, findings=crowd))]
    assert len(crowded) == 4 and min(np.diff(crowded)) > 0.06 * 1200.0
