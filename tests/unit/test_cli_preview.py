"""pithline preview: files written, and mistakes answered in one line."""

import pytest

from picture_scripts import small_script
from pithline.cli.main import main
from pithline.script.document import dumps


def test_writes_page_picture_and_solids(tmp_path, capsys):
    path = tmp_path / "cut-script.json"
    path.write_bytes(dumps(small_script()))
    assert main(["preview", str(path), "--out", str(tmp_path / "out"), "--units", "in"]) == 0
    assert sorted(one.name for one in (tmp_path / "out").iterdir()) == ["plan.glb", "preview.html", "preview.png"]
    assert "preview.html" in capsys.readouterr().out


@pytest.mark.parametrize(
    "text, said",
    [
        (b"{}", "no cut script of version 1"),
        (b"not json", "not JSON"),
        (dumps({k: v for k, v in small_script().items() if k != "model"}), "missing or misshapen"),
    ],
)
def test_a_file_that_is_no_cut_script_is_an_error(tmp_path, capsys, text, said):
    path = tmp_path / "cut-script.json"
    path.write_bytes(text)
    assert main(["preview", str(path), "--out", str(tmp_path / "out")]) == 2
    error = capsys.readouterr().err
    assert error.startswith("error:") and said in error and error.count("\n") == 1
    assert not (tmp_path / "out").exists()
