"""Scans as people really have them: no ground, a floor, leaning, one flank of a row, several logs, drift, hidden girth."""

from dataclasses import replace

import matplotlib.image
import numpy as np
import pytest

from pithline.cli.main import main
from pithline.errors import InputError
from pithline.logmodel import dimensions
from pithline.logmodel.card import ScanPoint
from pithline.logmodel.fit import fit_log
from truth.logs import clock_of, true_log
from truth.samples import sample_truth
from truth.scans import simulate_scan, write_binary_ply
from unit.test_fit import card_of, misses, rms

POINTS = 16_000
SHORT = replace(sample_truth("af-15"), length=800.0)
"""Sawn short: a fit takes as long as the log is long."""
YARDS = {
    "no ground": {"ground": False, "bearers": False, "clutter": False},
    "a floor": {"ground_slope_deg": 0.0, "pitch_deg": 0.0},
    "a slope": {"ground_slope_deg": 12.0},
    "leaning": {"pitch_deg": 28.0, "ground": False, "bearers": False, "clutter": False},
    "y up in inches": {"up": "+y", "unit": "in"},
    "x up in feet": {"up": "+x", "unit": "ft"},
    "centimetres": {"unit": "cm"},
}


@pytest.mark.parametrize("name", YARDS)
def test_however_it_lies(name):
    log = SHORT
    scan = simulate_scan(log, 8, points=POINTS, **YARDS[name])
    model = fit_log(scan.points, card_of(log, scan))
    assert model.length == pytest.approx(log.length, abs=3.0)
    assert dimensions.volume(model) == pytest.approx(log.volume_under_bark(), rel=0.01)


def test_a_scan_without_scale_takes_it_from_the_tape():
    log = SHORT
    scan = simulate_scan(log, 8, points=POINTS)
    shrunk = {"pith_butt": ScanPoint(tuple(scan.pith_butt / 3.7)), "pith_top": ScanPoint(tuple(scan.pith_top / 3.7))}
    card = card_of(log, scan, scan_units="tape", tape_length=log.length, **shrunk)
    model = fit_log(scan.points / 3.7, card)
    assert model.length == pytest.approx(log.length, abs=0.5)
    assert dimensions.volume(model) == pytest.approx(log.volume_under_bark(), rel=0.01)
    with pytest.raises(InputError, match=r"no tape\.length"):
        fit_log(scan.points, replace(card, tape_length=None))


def test_one_flank_and_both_ends_of_a_log_in_a_row():
    """The far flank is hidden by the next log: the rims of the two ends must carry it."""
    log = sample_truth("af-07")
    scan = simulate_scan(log, 8, points=60_000, hidden_deg=60.0, bearers=False, clutter=False)
    into = np.linalg.inv(scan.truth_to_scan)
    own = scan.points @ into[:3, :3].T + into[:3, 3]
    away = own[:, 1:] - log.centre(own[:, 0])
    clock = clock_of(away)
    far = (clock > np.radians(20.0)) & (clock < np.radians(200.0))
    bark = np.abs(np.hypot(*away.T) - log.over_bark_radius(own[:, 0], clock)) < 12.0
    within = (own[:, 0] > 12.0) & (own[:, 0] < log.length - 12.0)
    model = fit_log(scan.points[~(far & bark & within)], card_of(log, scan))
    assert model.length == pytest.approx(log.length, abs=3.0)
    assert dimensions.volume(model) == pytest.approx(log.volume_under_bark(), rel=0.03)
    assert dimensions.coverage(model) < 0.6
    middle, width = np.degrees(dimensions.unseen_girth(model))  # 20° to 200° of the flank, and the underside to 210°
    assert middle == pytest.approx(115.0, abs=10.0) and width == pytest.approx(190.0, abs=15.0)


def test_hidden_girth_is_told_by_the_rims_of_the_ends():
    log = true_log("fluted", 500)
    both, none = (
        simulate_scan(log, 500, points=60_000, hidden_deg=130.0, ends=ends) for ends in ((True, True), (False, False))
    )
    hidden = [rms(misses(fit_log(one.points, card_of(log, one)), log, one, 130.0)[1]) for one in (both, none)]
    assert hidden[0] < 5.0
    assert hidden[0] < hidden[1]


@pytest.mark.parametrize(("drift", "told"), [(0.0, False), (8.0, True)])
def test_drift_between_two_sides_is_told(drift, told):
    log = sample_truth("af-07")
    scan = simulate_scan(log, 8, points=60_000, drift=drift)
    model = fit_log(scan.points, card_of(log, scan))
    assert any("two sides of the scan" in one for one in model.cautions) == told
    assert rms(misses(model, log, scan, 90.0)[0]) < 2.0 + drift / 2
    if told:
        [caution] = [one for one in model.cautions if "two sides" in one]
        apart = float(caution.split("lie ")[1].split(" ")[0])
        assert apart == pytest.approx(0.74 * drift, abs=2.0)  # the part of the simulated drift that is up


@pytest.fixture(scope="module")
def two_logs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two")
    alone = {"ground": False, "clutter": False, "bearers": False}
    large = simulate_scan(sample_truth("af-07"), 9, points=16_000, **alone)
    small = simulate_scan(sample_truth("af-15"), 4, points=14_000, **alone)
    write_binary_ply(folder / "two.ply", np.concatenate([large.points, small.points + np.array([0.0, 2.5, 0.0])]))
    return folder


def test_several_logs_are_listed_with_a_picture(two_logs, capsys):
    scan = str(two_logs / "two.ply")
    assert main(["card", scan]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1 and "2 logs" in told and "--pick N" in told and "--list" in told
    assert not (two_logs / "two.toml").exists()
    assert main(["card", scan, "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    lengths = [float(line.split("about ")[1].split(" mm")[0]) for line in lines[:2]]
    assert lengths[0] == pytest.approx(1900.0, abs=80.0) and lengths[1] == pytest.approx(1200.0, abs=80.0)
    assert matplotlib.image.imread(two_logs / "two.logs.png").shape[:2] == (990, 1100)
    assert main(["card", scan, "--pick", "2"]) == 0
    assert "1200 mm" in capsys.readouterr().out or (two_logs / "two.toml").exists()
