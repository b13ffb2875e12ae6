"""End templates: true scale on every tile, the bar, the whole outline covered."""

import io
from itertools import pairwise

import numpy as np
import pdfplumber
import pytest

from pithline.outputs.print_job import print_job
from pithline.outputs.templates.end_templates import (
    EDGE,
    OVERLAP,
    end_templates,
    full_size_templates,
    templates_of,
    tiles,
)
from unit.outputs_fixture import small_script

MM = 72.0 / 25.4


@pytest.mark.parametrize(("paper", "units", "bar"), [("A4", "mm", 100.0), ("Letter", "in", 101.6)])
def test_lines_and_bar_are_at_true_scale(paper, units, bar):
    job = print_job(small_script(), units, paper)
    with pdfplumber.open(io.BytesIO(end_templates(job))) as pdf:
        boxes = [(made, tile) for made in templates_of(job) for tile in tiles(made.end, paper)]
        assert len(pdf.pages) == len(boxes)
        for page, (made, tile) in zip(pdf.pages, boxes, strict=True):
            drawn = np.array(
                [[one["x0"], page.height - one["y1"], one["x1"], page.height - one["y0"]] for one in page.lines]
            )
            lengths = np.array([np.hypot(one["x1"] - one["x0"], one["y1"] - one["y0"]) for one in page.lines]) / MM
            assert np.abs(lengths - bar).min() < 0.01
            ends = [np.array([[x, page.height - y] for x, y in one["pts"]]) / MM for one in page.lines]
            for line in made.lines:
                wanted = line.points - [tile.left - EDGE, tile.bottom - EDGE]
                nearest = min(np.abs(one - wanted).max() for one in ends if one.shape == (2, 2))
                assert nearest < 0.2
            assert len(drawn)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_tiles_cover_the_end_and_overlap(paper):
    face = print_job(small_script()).log.ends("log").butt
    boxes = tiles(face, paper)
    for point in face.over_bark:
        assert any(x <= point[0] <= x + w and y <= point[1] <= y + h for _, _, x, y, w, h in boxes)
    row = sorted(box for box in boxes if box[1] == 1)
    for one, other in pairwise(row):
        assert one[2] + one[4] - other[2] == pytest.approx(OVERLAP)


def test_every_line_has_its_name_on_the_paper():
    script = small_script()
    with pdfplumber.open(io.BytesIO(end_templates(print_job(script)))) as pdf:
        found = {word["text"] for page in pdf.pages for word in page.extract_words() if word["top"] > 80.0}
    assert {"level", "1", "2", "3", "4", "5", "T1", "12", "o'clock"} <= found


def test_same_script_same_bytes():
    assert end_templates(print_job(small_script())) == end_templates(print_job(small_script()))


@pytest.mark.parametrize(
    ("card", "radius"), [({}, 25.0), ({"pith": {"radius": 12.0}}, 12.0), ({"pith": {"radius": 0.0}}, 1.0)]
)
def test_the_pith_circle_is_the_plans_own(card, radius):
    """Where the card states none the plan keeps 25 mm clear (docs/formats.md), and so much is drawn."""
    script = small_script()
    script["inputs"]["card"] = card
    with pdfplumber.open(io.BytesIO(end_templates(print_job(script)))) as pdf:
        wide = [(one["x1"] - one["x0"]) / MM for page in pdf.pages for one in page.curves]
    assert min(abs(one - 2.0 * radius) for one in wide) < 0.1


@pytest.mark.parametrize(("units", "bar"), [("mm", 100.0), ("in", 101.6)])
def test_a_print_shop_gets_each_end_on_one_page_at_true_scale(units, bar):
    job = print_job(small_script(), units)
    with pdfplumber.open(io.BytesIO(full_size_templates(job))) as pdf:
        assert len(pdf.pages) == 2
        for page, made in zip(pdf.pages, templates_of(job), strict=True):
            across, tall = np.ptp(made.end.over_bark, axis=0)
            assert page.width / MM > across and page.height / MM > tall
            lengths = np.array([np.hypot(one["x1"] - one["x0"], one["y1"] - one["y0"]) for one in page.lines]) / MM
            assert np.abs(lengths - bar).min() < 0.01
            for line in made.lines:
                assert np.abs(lengths - np.hypot(*(line.points[1] - line.points[0]))).min() < 0.05
            names = {word["text"] for word in page.extract_words()}
            assert {line.name for line in made.lines} <= names
