"""docs/library.md as a session: its blocks run one after the other, and write what they say."""

import re
from pathlib import Path

from pithline.yard.appraisal import lot

REPO = Path(__file__).resolve().parents[2]


def test_the_page_runs_as_it_stands(tmp_path, monkeypatch, capsys):
    blocks = re.findall(r"```python\n(.*?)```", (REPO / "docs/library.md").read_text(encoding="utf-8"), re.S)
    assert len(blocks) == 5
    monkeypatch.setattr(lot, "COARSER", 1)  # a lot of one is looked at no closer than a lot of four, for speed
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
