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
