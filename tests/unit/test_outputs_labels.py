"""Labels: columns, one a kept piece, codes that hold id and plan, nothing over its label's edge."""

import csv
import io

import numpy as np
import pdfplumber
import pypdfium2
import pytest
import segno
import zxingcpp

from pithline.outputs.labels.codes import code_cells
from pithline.outputs.labels.label_sheets import labels_pdf
from pithline.outputs.labels.rows import COLUMNS, labels_csv, labels_of
from pithline.outputs.print_job import plan_hash, print_job
from pithline.script.document import dumps, loads
from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import large_script, small_script
from unit.pdf_reading import faults, pages_of, text_of


def rows_of(script):
    return list(csv.DictReader(io.StringIO(labels_csv(print_job(script)).decode("utf-8"), newline="")))


def test_csv_has_every_column_and_every_piece_that_needs_a_label():
    rows = rows_of(small_script())
    assert tuple(rows[0]) == tuple(COLUMNS)
    ids = [row["id"] for row in rows]
    assert len(ids) == len(set(ids))
    assert {"slab-1", "slab-2", "bolt-1", "bolt-2", "plate-1", "plate-2"} <= set(ids)
    assert not {"log", "rest-1", "rest-4", "strip-0", "half-a", "half-b", "strip-1", "billet-1"} & set(
        ids
    )  # sawn on at once, or waste
    plate = next(row for row in rows if row["id"] == "plate-1")
    assert (plate["product"], plate["part"], plate["sawn"]) == ("guitar", "back", "")
    assert (plate["length_mm"], plate["width_mm"], plate["thickness_mm"]) == ("560.0", "210.0", "5.0")
    assert plate["mate"] == next(row["mark"] for row in rows if row["id"] == "plate-2")


def test_the_plan_hash_follows_the_plan():
    script = small_script()
    assert plan_hash(script) == plan_hash(loads(dumps(script)))
    script["operations"][1]["offset"] += 0.001
    assert plan_hash(script) != plan_hash(small_script())


def test_codes_drawn_are_those_of_id_and_plan():
    script = small_script()
    job = print_job(script)
    matrix = segno.make(labels_of(job)[0].code, error="m", micro=False).matrix
    with pdfplumber.open(io.BytesIO(labels_pdf(job))) as pdf:
        page = pdf.pages[0]
        squares = [one for one in page.rects if one["x0"] < page.width / 2 and one["top"] < 145.0]
        cell = squares[0]["height"]
        x, y = min(one["x0"] for one in squares), min(one["top"] for one in squares)
        seen = {
            (round((one["top"] - y) / cell), round((one["x0"] - x) / cell) + step)
            for one in squares
            for step in range(round(one["width"] / cell))
        }
    assert seen == {(r, c) for r, line in enumerate(matrix) for c, dark in enumerate(line) if dark}


def test_the_mask_is_that_of_trying_one_after_another():
    rng = np.random.default_rng(5)
    texts = ["pithline:" + rng.bytes(size).hex() for size in range(1, 60)] + ["1" * size for size in range(1, 300, 7)]
    for text in texts:
        tried = segno.make(text, error="m", micro=False).matrix
        assert code_cells(text).tolist() == [list(row) for row in tried], text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_printed_codes_are_read_by_an_independent_reader(paper):
    """zxing-cpp reads every code off the rendered page at 150 dots an inch, coarser than any printer."""
    script = small_script()
    job = print_job(script, paper=paper)
    known = {label.piece for label in labels_of(job)}
    page = pypdfium2.PdfDocument(labels_pdf(job))[0]
    read = [one.text for one in zxingcpp.read_barcodes(page.render(scale=150 / 72).to_pil())]
    assert len(read) == len(set(read)) >= 10
    for text in read:
        name, plan, piece = text.split(":")
        assert (name, plan) == ("pithline", plan_hash(script))
        assert piece in known


def test_pieces_other_than_plates_have_their_size_too():
    sizes = {label.piece: label.size for label in labels_of(print_job(small_script()))}
    # a slab between cuts 102 mm apart less a kerf of 2; it spans the envelope of radius 204, 2 m between its ends
    slab = sizes["slab-1"]
    assert slab.thickness == pytest.approx(100.0, abs=0.2)
    assert slab.width == pytest.approx(408.0, abs=1.0)
    assert slab.length == pytest.approx(2000.0, abs=1.0)


@pytest.mark.parametrize(("paper", "plates"), [("A4", 110), ("Letter", 40)])
def test_many_plates_with_long_ids_stay_on_their_labels(paper, plates):
    found = pages_of(labels_pdf(print_job(large_script(settings=3, plates=plates), "in", paper)))
    assert sum(text.count("sawn") for *_, text in found) >= plates
    assert not faults(found)


def test_same_script_same_bytes():
    assert labels_pdf(print_job(small_script())) == labels_pdf(print_job(small_script()))


def test_a_plate_of_a_product_of_one_part_is_named_once():
    """A bridge is a bridge, and its set has a number; a back is named with its guitar."""
    script = small_script()
    plate, other = script["plates"][0], script["plates"][1]
    plate |= {"product": "bridge", "part": "bridge", "set_id": "bridge 3", "mate": None}
    other |= {"product": "small guitar", "part": "back", "set_id": "small guitar-2", "mate": None}
    with pdfplumber.open(io.BytesIO(labels_pdf(print_job(script)))) as pdf:
        text = "\n".join(page.extract_text() for page in pdf.pages)
    assert "bridge, set 3" in text and "bridge: bridge" not in text and "bridge 3" not in text
    assert "small guitar: back, set 2" in text


def test_a_plate_is_told_with_species_ring_angle_and_sapwood():
    plate = next(row for row in rows_of(cradle_script()) if row["id"] == "billet-1-1")
    assert (plate["species"], plate["ring_angle_deg"], plate["ring_angle_least_deg"]) == (
        "black walnut",
        "84.5",
        "78.0",
    )
    assert (plate["sapwood_mm"], plate["runout_deg"], plate["passes"]) == ("6.5", "0.8", "yes")
    text = text_of(labels_pdf(print_job(cradle_script())))
    assert "rings 84°, least 78°; sapwood 6.5 mm" in text and "walnut-22, black walnut" in text


def test_a_plate_of_an_older_script_says_nothing_of_sapwood():
    assert "sapwood" not in text_of(labels_pdf(print_job(small_script())))
    assert next(row for row in rows_of(small_script()) if row["id"] == "plate-1")["sapwood_mm"] == ""


def test_what_waits_to_dry_has_a_label():
    script = small_script()
    next(one for one in script["operations"] if one["op"] == "setting" and one["piece"] == "billet-1")["stage"] = (
        "dried"
    )
    assert "billet-1" in {row["id"] for row in rows_of(script)}
