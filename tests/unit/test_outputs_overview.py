"""The overview: every piece under the one it comes of, every plate with a box to tick, nothing over an edge."""

import pytest

from pithline.outputs.cut_script.sawn_pieces import LEVEL, UPRIGHT
from pithline.outputs.overview.page import BEND, BOX, MARK, OverviewPage, overview
from pithline.outputs.overview.tree import tree_of
from pithline.outputs.pdf.page import width_of
from pithline.outputs.print_job import print_job
from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import bucked_script, large_script, small_script
from unit.pdf_reading import faults, pages_of


def marks_under(log, node):
    return {log.mark(node.piece), *(mark for child in node.children for mark in marks_under(log, child))}


@pytest.mark.parametrize("script", [small_script, bucked_script, cradle_script])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_piece_of_the_tree_and_every_plate_is_there(script, paper):
    job = print_job(script(), paper=paper)
    pages = pages_of(overview(job))
    assert not faults(pages)
    words = {word for page in pages for word in page[3].split()}
    assert marks_under(job.log, tree_of(job.log)) <= words
    assert {job.log.mark(plate) for plate in job.log.plates} <= words


def test_children_are_what_a_setting_leaves():
    log = print_job(cradle_script()).log
    root = tree_of(log)
    assert [child.piece for child in root.children] == ["half-a", "slab-1", "half-b"]
    half = root.children[0]
    assert [child.piece for child in half.children] == ["bolt-1", "slab-2", "bolt-2"]
    assert root.depth == 4 and len(root.leaves) == 8
    slab = next(leaf for leaf in root.leaves if leaf.piece == "slab-3")
    assert len(slab.plates) == 6


@pytest.mark.parametrize("script", [small_script, bucked_script, cradle_script])
def test_pictures_end_before_the_next_level_begins(script):
    job = print_job(script())
    page = OverviewPage(job, [tree_of(job.log)], {})
    pieces = [page.trees[0]]
    while pieces:
        node = pieces.pop()
        pieces += node.children
        shape = job.log.section(node.piece, job.log.stretch(node.piece).middle, LEVEL, UPRIGHT)
        wide = 0.0 if shape.is_empty else shape.bounds[2] - shape.bounds[0]
        mark = BOX + 2.0 + width_of(job.log.mark(node.piece), min(MARK, 0.7 * page.row), True)
        assert mark + page.scale * wide <= page.column - BEND


def test_what_the_plan_brings_is_never_cut_short():
    script = cradle_script()
    names = [f"instrument of kind {number}" for number in range(5)]
    script["totals"]["sets"] = dict.fromkeys(names, 12)
    text = pages_of(overview(print_job(script)))[0][3]
    assert "…" not in text and "6 plates." in text and all(name in text for name in names)


def test_many_settings_and_plates_take_more_pages():
    pages = pages_of(overview(print_job(large_script(), paper="Letter")))
    assert not faults(pages)


def test_same_script_same_bytes():
    assert overview(print_job(small_script())) == overview(print_job(small_script()))
