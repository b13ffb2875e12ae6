"""docs/library.md as a session: its blocks run one after the other, and write what they say."""

import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import pithline
from pithline.yard.appraisal import appraise, information, layouts, lot
from pithline.yard.appraisal.terms import read_trade
from small_plan import QUICK

REPO = Path(__file__).resolve().parents[2]


BRIEF = replace(
    QUICK, along_step=60.0, depth_step=5.0, corner_step=30.0, rounds=1, halves=1, fine=3.0, nearby=0, answers=1
)
"""Of a plan and an appraisal that have only to run: what they find is looked at elsewhere."""


def looked_at_less(priors):
    """Priors with few logs drawn."""
    return replace(priors, sampling=replace(priors.sampling, samples=8, replans=9, answers=2, inner=2))


def searched_less(appraised, trade, one, terms, *more):
    """A log appraised by a plan of a short product list that was searched more coarsely than any command does."""
    return appraised(one, replace(terms, effort=BRIEF, trade=trade), *more)


def planned_again(laid, log, plan, shop, _seed=0):
    """The plan laid out again on the first log that is drawn, and for the others the same, where an appraisal plans each."""
    if not laid:
        laid.append(layouts.laid_again(log, plan, shop))
    return laid[0]


def test_the_page_runs_as_it_stands(tmp_path, monkeypatch, capsys):
    blocks = re.findall(r"```python\n(.*?)```", (REPO / "docs/library.md").read_text(encoding="utf-8"), re.S)
    assert len(blocks) == 5
    # a lot of one is looked at as a large lot is, and less closely still, for speed
    monkeypatch.setattr(lot, "COARSER", 1)
    monkeypatch.setattr(lot, "for_a_lot", looked_at_less)
    monkeypatch.setattr(lot, "one_log", partial(searched_less, lot.one_log, read_trade(None, ["necks"])))
    again = partial(planned_again, [])
    monkeypatch.setattr(appraise, "planned_anew", again)
    monkeypatch.setattr(information, "planned_anew", again)
    monkeypatch.setattr(information, "laid_again", again)
    monkeypatch.setattr(pithline, "COARSE", BRIEF)
    (tmp_path / "sample_scans").symlink_to(REPO / "sample_scans")
    monkeypatch.chdir(tmp_path)
    session: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, "docs/library.md", "exec"), session)
    told = capsys.readouterr().out.splitlines()
    assert (
        told[0].startswith("af-15: 1.") and " minutes; " in told[1] and told[-1].startswith("sample_scans/no-such-log")
    )
    assert {path.name for path in (tmp_path / "plan").iterdir()} >= {
        "cut-script.json",
        "set-up-sheet.pdf",
        "preview.html",
    }
    assert (tmp_path / "appraisal/appraisal.html").is_file()
