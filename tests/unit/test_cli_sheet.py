"""pithline sheet: the same bytes as the plan's own, older scripts too, and mistakes answered in one line."""

from pathlib import Path

import pytest

from pithline.cli.main import main
from pithline.outputs.plan_folder import PREVIEWS, PRINTED, plan_files
from pithline.outputs.preview import files
from pithline.script.document import dumps, loads
from unit.cradle_fixture import cradle_script

WRITTEN = Path(__file__).resolve().parents[1] / "written" / "small-log.cut-script.json"


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("in", "Letter")])
def test_a_script_written_before_is_printed_again_with_the_same_bytes(tmp_path, capsys, monkeypatch, units, paper):
    out = tmp_path / "out"
    assert main(["sheet", str(WRITTEN), "--out", str(out), "--units", units, "--paper", paper]) == 0
    assert sorted(one.name for one in out.iterdir()) == sorted(PRINTED)
    monkeypatch.setattr(files, "preview_files", lambda job: dict.fromkeys(PREVIEWS, b""))  # they are not printed
    planned = plan_files(loads(WRITTEN.read_bytes()), units, paper)
    for name in PRINTED:
        assert (out / name).read_bytes() == planned[name], name
    assert "shop-cards.pdf" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"plates": [{"id": "nowhere"}]}, "the script.plates[0] has no edges"),
        ({"pieces": []}, "c1 names log, which is not there"),
        ({"totals": {}}, "the script.totals has no instrument_volume"),
        ({"model": {}}, "no whole log model"),
    ],
)
def test_a_misshapen_script_is_one_line_and_writes_nothing(tmp_path, capsys, change, said):
    path = tmp_path / "cut-script.json"
    path.write_bytes(dumps(cradle_script() | change))
    assert main(["sheet", str(path), "--out", str(tmp_path / "out")]) == 2
    error = capsys.readouterr().err
    assert error.startswith("error:") and str(path) in error and error.count("\n") == 1
    assert said in error
    assert not (tmp_path / "out").exists()
