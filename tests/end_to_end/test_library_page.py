"""docs/library.md as a session: its blocks run one after the other, and write what they say."""

import re
from dataclasses import replace
from functools import partial
from pathlib import Path

from pithline.yard.appraisal import lot
from small_plan import QUICK

REPO = Path(__file__).resolve().parents[2]


def looked_at_less(priors):
    """Priors with few logs drawn."""
    return replace(priors, sampling=replace(priors.sampling, samples=8, replans=2, answers=2, inner=2))


def searched_less(appraised, one, terms, *more):
    """A log appraised by a plan that was searched more coarsely than any command does."""
    return appraised(one, replace(terms, effort=QUICK), *more)


def test_the_page_runs_as_it_stands(tmp_path, monkeypatch, capsys):
    blocks = re.findall(r"```python\n(.*?)```", (REPO / "docs/library.md").read_text(encoding="utf-8"), re.S)
    assert len(blocks) == 5
    monkeypatch.setattr(lot, "COARSER", 1)  # a lot of one is looked at as a large lot is, and less closely still, for speed
    monkeypatch.setattr(lot, "for_a_lot", looked_at_less)
    monkeypatch.setattr(lot, "one_log", partial(searched_less, lot.one_log))
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
