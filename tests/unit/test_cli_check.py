"""pithline check: status, words and JSON on scripts that hold and that do not."""

import json

import pytest

from pithline.cli.main import main
from unit.scripts_by_hand import whole_script


def written(folder, document):
    path = folder / "cut-script.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def test_a_script_that_holds(tmp_path, capsys):
    path = written(tmp_path, whole_script())
    assert main(["check", str(path)]) == 0
    told = capsys.readouterr()
    assert f"{path} holds: 8 cuts replayed, 2 passing plates (1.6 L)" in " ".join(told.out.split()) and told.err == ""


def test_a_script_that_does_not_hold(tmp_path, capsys):
    document = whole_script()
    document["pieces"][1]["volume"] = 1.0e6
    path = written(tmp_path, document)
    assert main(["check", str(path), "--json"]) == 2
    told = capsys.readouterr()
    assert (
        told.err.startswith(f"error: {path} does not hold: h1 is stated as 1000000 mm³") and told.err.count("\n") == 1
    )
    assert [one["kind"] for one in json.loads(told.out)["findings"]] == ["piece-volume"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{", "the document is not JSON"),
        ("[]", "the document is not one JSON object"),
        ("{}", "is no cut script of version 1"),
        ('{"format": "pithline-cut-script", "version": 2}', "is no cut script of version 1"),
        ('{"format": "pithline-cut-script", "version": 1}', 'the cut script lacks "units"'),
        ("[" * 100_000, "nested too deeply"),
        (json.dumps(whole_script()).replace('"kerf": 2.0', '"kerf": 1' + "0" * 400), "digits; write it anew"),
        (json.dumps(whole_script()).replace('"kerf": 2.0', '"kerf": 1e400'), "none or too great; write it anew"),
    ],
)
def test_what_is_no_script(tmp_path, capsys, content, message):
    path = tmp_path / "cut-script.json"
    path.write_text(content, encoding="utf-8")
    assert main(["check", str(path)]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"error: {path}") and message in told and told.count("\n") == 1
