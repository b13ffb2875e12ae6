"""A card begun from a scan alone: found sizes in it, never overwritten, and ready to be fitted."""

import matplotlib.image
import pytest

from pithline.cli.main import main
from pithline.files.cards import read_card
from truth.samples import sample_truth
from truth.scans import simulate_scan, write_binary_ply


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    folder = tmp_path_factory.mktemp("card")
    scan = simulate_scan(sample_truth("af-15"), 3, points=15_000, up="+y")
    write_binary_ply(folder / "w.ply", scan.points)
    return folder, main(["card", str(folder / "w.ply")])


def test_card_and_picture_lie_beside_the_scan(begun):
    folder, status = begun
    assert status == 0
    card = read_card(folder / "w.toml")
    assert (card.id, card.scan, card.scan_units) == ("w", "w.ply", "m")
    text = (folder / "w.toml").read_text(encoding="utf-8")
    assert 'up = "+y"' in text and "120" in text
    assert matplotlib.image.imread(folder / "w.ends.png").shape[:2] == (1230, 2250)


def test_a_card_that_is_there_is_kept(begun, capsys):
    folder, _ = begun
    before = (folder / "w.toml").read_bytes()
    assert main(["card", str(folder / "w.ply")]) == 2
    assert "is already there" in capsys.readouterr().err
    assert (folder / "w.toml").read_bytes() == before


def begin(folder, *more, **yard):
    scan = simulate_scan(sample_truth("af-15"), 3, points=15_000, **yard)
    write_binary_ply(folder / "w.ply", scan.points)
    return main(["card", str(folder / "w.ply"), *more])


def test_what_the_command_was_told_stands_on_the_card(tmp_path):
    assert begin(tmp_path, "--up", "+y", up="+y") == 0
    assert read_card(tmp_path / "w.toml").up == "+y"


def test_what_the_fit_took_is_left_to_be_confirmed(begun):
    assert read_card(begun[0] / "w.toml").up is None
    assert '# up = "+y"' in (begun[0] / "w.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("axis", ["-y", "-x"])
def test_an_axis_with_a_minus_is_no_option(tmp_path, axis):
    yard = {"ground": False, "bearers": False, "clutter": False, "up": "+y"}
    assert begin(tmp_path, "--up", axis, **yard) == 0
    assert read_card(tmp_path / "w.toml").up == axis


def test_sentences_before_there_is_a_card_speak_of_the_option(tmp_path, capsys):
    assert begin(tmp_path, "--units", "mm") == 2
    said = capsys.readouterr().err
    assert "add --units m " in said and "scan_units" not in said and not (tmp_path / "w.toml").exists()


def test_the_butt_words_agree_with_the_diameters(begun):
    text = (begun[0] / "w.toml").read_text(encoding="utf-8")
    assert "± 1 mm" in text
    assert ("thicker end." in text) != ("is in doubt" in text)
