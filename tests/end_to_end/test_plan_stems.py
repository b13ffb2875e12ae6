"""A real stem, rougher and slimmer than a sawlog: a plan comes out, or the one sentence that no part fits.

Where PITHLINE_STEMS names the folder of whole stems one of them is planned, else the section that every clone holds
(tests/reference/stems/SOURCE.md).
"""

import json
import os
import re
from dataclasses import replace
from pathlib import Path

import pytest

from pithline.cli.main import main
from pithline.plan import api
from refusals import said_last

ELSEWHERE = os.environ.get("PITHLINE_STEMS")
SECTION = Path(__file__).resolve().parents[1] / "reference" / "stems" / "stem-a-section.ply"
STEM = Path(ELSEWHERE) / "stem-b.ply" if ELSEWHERE else SECTION
WIDE = """[limits.trade]
ring_angle_min_deg = 70
ring_angle_mean_deg = 78
runout_max_deg = 3
[[product]]
name = "table"
price = 100
[[product.part]]
name = "leaf"
count = 1
length = "800 mm"
width = "310 mm"
thickness = "20 mm"
"""


@pytest.fixture
def card(tmp_path, monkeypatch):
    """A card with nothing on it but what any scan needs, and a search coarser than any command offers."""
    monkeypatch.setattr(api, "EFFORTS", {"coarse": replace(api.COARSE, rolls=4, along_step=50.0, firsts=1)})
    path = tmp_path / "stem.toml"
    path.write_text(f'[log]\nid = "stem"\nspecies = "black walnut"\nscan = "{STEM}"\nup = "+x"\n', encoding="utf-8")
    return path


def test_a_plan_comes_out_or_the_sentence_that_no_part_fits(card, tmp_path, capsys):
    out = tmp_path / "plan"
    status = main(["plan", str(card), "--effort", "coarse", "--products", "small-parts", "--out", str(out)])
    told = said_last(capsys.readouterr().err)
    if status == 0:
        script = json.loads((out / "cut-script.json").read_text(encoding="utf-8"))
        assert script["totals"]["plates"] > 0 and script["uncertainty"]["pith_assumed"]
        for words in ("No pith mark on the card", "the pith was assumed, and what the scan leaves open may cost"):
            assert any(words in line for line in told)
        assert len(told) == len(set(told))
    else:
        assert status == 2 and not out.exists()
        assert len(told) == 1 and re.fullmatch(r"error: stem: no .*\.", told[0])


def test_the_sentence_names_what_is_missing(card, tmp_path, capsys):
    (tmp_path / "wide.toml").write_text(WIDE, encoding="utf-8")
    out = tmp_path / "plan"
    arguments = ["--effort", "coarse", "--products", str(tmp_path / "wide.toml"), "--out", str(out)]
    assert main(["plan", str(card), *arguments]) == 2
    (line,) = said_last(capsys.readouterr().err)
    found = re.fullmatch(
        r"error: stem: no part fits: the widest radial run is (\d+) mm, the narrowest part \(table leaf\) needs 310 mm; "
        r"choose a narrower part or another log\.",
        line,
    )
    assert found and 70 < int(found[1]) < 200
    assert not out.exists()
