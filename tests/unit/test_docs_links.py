"""What README.md and docs/ link to is there, and every picture is shown somewhere."""

import re
from pathlib import Path

import pytest

REPO = Path(__file__).parents[2]
PAGES = [REPO / "README.md", REPO / "DEVELOPERS.md", *sorted((REPO / "docs").glob("*.md"))]
LINK = re.compile(r"\]\(([^)\s]+)\)")


def targets(page):
    found = [text.partition("#")[0] for text in LINK.findall(page.read_text(encoding="utf-8"))]
    return [page.parent / text for text in found if text and "://" not in text]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_leads_to_a_file(page):
    assert [str(one) for one in targets(page) if not one.exists()] == []


def test_every_picture_is_shown():
    shown = {one.resolve() for page in PAGES for one in targets(page)}
    assert [str(one) for one in sorted((REPO / "docs" / "pictures").rglob("*.png")) if one.resolve() not in shown] == []


def test_a_newcomer_meets_the_page_before_any_command():
    text = (REPO / "README.md").read_text(encoding="utf-8")
    first = next(at for at, line in enumerate(text.splitlines()) if line.startswith("    "))
    before = "\n".join(text.splitlines()[:first])
    assert "`pithline open" in before and "docs/shed-path.md" in before
