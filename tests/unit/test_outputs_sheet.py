"""The set-up sheet read back: numbers equal the script's, nothing overlaps, nothing that is sawn is missing."""

import re
from functools import lru_cache

import numpy as np
import pytest

from pithline.outputs.cards.shop_cards import shop_cards
from pithline.outputs.cut_script.document import Saw
from pithline.outputs.cut_script.end_lines import end_lines, lined_settings
from pithline.outputs.ends import tape_point
from pithline.outputs.holding.props import holding_of
from pithline.outputs.pdf.page import document
from pithline.outputs.print_job import print_job
from pithline.outputs.sheet.crosscut_first import along_the_bark
from pithline.outputs.sheet.ladder import rung_words
from pithline.outputs.sheet.mill_settings import LEAST_OFF, MOST_OFF, arris_of, height_allowance, mill_panel
from pithline.outputs.sheet.set_up_sheet import set_up_sheet
from pithline.script.document import crayon_marks, dumps, loads
from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import bucked_script, small_script
from unit.pdf_reading import columns_of, faults, pages_of, text_of

SCRIPTS = {"small": small_script, "bucked": bucked_script, "cradle": cradle_script}


def sheet_of(script, units="mm", paper="A4"):
    return pages_of(sheet_once(dumps(script), units, paper))


@lru_cache(32)
def sheet_once(written, units="mm", paper="A4"):
    """The sheet of a script as it is written; one that several tests look at is drawn once."""
    return set_up_sheet(print_job(loads(written), units, paper))


@pytest.fixture(scope="module")
def small():
    script = small_script()
    return print_job(script), sheet_of(script)


def words_of(script):
    """All that a sheet says."""
    return text_of(sheet_once(dumps(script)))


def panel_of(script, number):
    """What is written on the panel of a mill setting, its drawings left out."""
    job = print_job(script)
    setting = next(one for one in job.log.settings if job.log.mill_numbers.get(one.id) == number)
    panel = document(mill_panel(job, setting), "A4", "", "")
    return columns_of(panel, 0.39).partition(" at the mill ")[2]


def cards_of(job):
    return columns_of(shop_cards(job), 0.5)


def test_same_script_same_bytes():
    assert set_up_sheet(print_job(small_script())) == set_up_sheet(print_job(small_script()))


@pytest.mark.parametrize(("units", "paper"), [("mm", "A4"), ("in", "Letter")])
@pytest.mark.parametrize("name", SCRIPTS)
def test_nothing_overlaps_or_leaves_the_page(name, units, paper):
    assert not faults(sheet_of(SCRIPTS[name](), units, paper))


@pytest.mark.parametrize("name", SCRIPTS)
def test_in_inches_everything_is_in_inches(name):
    script = SCRIPTS[name]()
    for data in (sheet_once(dumps(script), "in", "Letter"), shop_cards(print_job(script, "in", "Letter"))):
        text = re.sub(r"mg/m³", "", text_of(data))
        assert not re.search(r"\d (mm|kg|L)\b(?![▲▼])|\bmm\b", text)


@pytest.mark.parametrize("name", SCRIPTS)
def test_every_cut_is_on_the_sheet_or_on_a_card(name):
    job = print_job(SCRIPTS[name]())
    text, cards = words_of(SCRIPTS[name]()), cards_of(job)
    for cut in job.log.cuts.values():
        number = job.log.cut_numbers[cut.id]
        if cut.tool in (Saw.MILL, Saw.BUCK):
            assert re.search(rf"\b{number} \d", text), number
        elif (
            cut.tool is Saw.RESAW
            and job.shop.from_fence(next(s for s in job.log.settings if s.id == cut.setting), cut) is not None
        ):
            gives = [job.log.mark(one) for one in cut.pieces if job.log.kind(one) == "plate"]
            assert all(re.search(rf"\b{mark}\b", cards) for mark in gives), number
        else:
            assert re.search(rf"\b{number}(/\d+)? at |/{number} at |\b{number} by its line", cards), number


def test_heights_and_lifts_are_the_scripts(small):
    job, _ = small
    log, fmt = job.log, job.fmt
    for setting in (one for one in log.settings if one.tool is Saw.MILL):
        text = panel_of(small_script(), log.mill_numbers[setting.id])
        for lift in setting.lifts:
            if lift.lift:
                assert f"{fmt.bare(lift.lift)} at bunk {fmt.bare(lift.bunk)}" in text
        butt, top = (fmt.bare(mark.height) for mark in setting.marks.both)
        assert f"butt {butt}, top {top} expected" in text
        room = setting.mark_room
        assert f"s room: {fmt.bare(room.down)} down, {fmt.bare(room.up)} up" in text
        for cut in log.cuts_of(setting):
            sign = "over" if cut.from_mark >= 0 else "under"
            row = f"{log.cut_numbers[cut.id]} {fmt.bare(abs(cut.from_mark))} {sign} {fmt.bare(cut.blade_height)} {fmt.bare(cut.width)}"
            assert row in text
    assert "Clearance run first" in panel_of(small_script(), 2)
    assert "Clearance run first" not in panel_of(small_script(), 1)


def test_rules_stand_once():
    text = words_of(small_script())
    for words in ("29 CFR 1910.265(e)(1)(viii)", "locked out before a hand", "wedge the kerf open", "IARC"):
        assert text.count(words) == 1


def test_a_heavy_half_is_said_to_come_off_by_hoist():
    script = small_script()
    for one in script["operations"]:
        if one["op"] == "setting" and one["piece"] == "half-a":
            one["weight_kg"] = 161.0
    mark = print_job(script).log.mark("half-a")
    assert f"{mark} 161 kg, hoist off → mill 2" in panel_of(script, 1)


def test_what_is_seen_tells_how_a_half_lies_never_the_12_o_clock_line(small):
    first = small[0].log.cut_numbers["c1"]
    assert f"sawn face {first} upright, on your right, against the stops" in panel_of(small_script(), 2)
    assert "12 o'clock" not in panel_of(small_script(), 2)
    assert "12 o'clock line to 11 o'clock" in panel_of(small_script(), 1)


def test_the_height_found_must_lie_near_the_one_expected_and_within_the_mills_room(small):
    job, _ = small
    for setting in (one for one in job.log.settings if one.marks is not None):
        assert (
            LEAST_OFF
            <= height_allowance(job.log, setting)
            <= min(MOST_OFF, setting.mark_room.down, setting.mark_room.up)
        )


def test_a_scale_that_reads_the_lower_edge_takes_off_half_a_kerf():
    script = small_script()
    script["inputs"]["mill"]["mill"]["scale_reads"] = "lower"
    pages, panel = sheet_of(script), panel_of(script, 1)
    assert "1 50 over 254 " in panel
    assert "1: 254 mm" in " ".join(page[3] for page in pages)
    assert re.search(r"kerf's\s+lower\s+edge", pages[0][3])


@pytest.mark.parametrize("end", [0, 1])
def test_tape_distances_are_those_of_the_lines(small, end):
    job, pages = small
    fmt, face = job.fmt, job.log.ends("log")[end]
    text = " ".join(next(t for *_, t in pages if "Draw the lines" in t).split())
    groups = end_lines(job.log, job.shop, lined_settings(job.log, job.shop), face)
    assert [[line.name for line in group.lines] for group in groups] == [["level"], ["1", "2", "T1"], ["3", "4"], ["5"]]
    for _, lines in groups:
        for line in lines:
            cells = []
            for tape in (tape_point(face, point) for point in line.points):
                anchor, reach = ("12", tape.from_twelve) if tape.from_twelve <= tape.from_six else ("6", tape.from_six)
                cells += [fmt.bare(tape.from_pith), f"{anchor}: {fmt.bare(reach)}"]
            long = fmt.bare(float(np.hypot(*(line.points[1] - line.points[0]))))
            before = f"{line.name} " if end == 0 else ""
            assert re.search(
                re.escape(before) + r"(?:[LR][▲▼] )?" + r" (?:[LR][▲▼] )?".join(map(re.escape, cells)) + f" {long}",
                text,
            )


def test_marks_off_every_line_have_a_line_of_their_own_on_both_ends():
    script = small_script()
    half = next(one for one in script["operations"] if one["op"] == "setting" and one["piece"] == "half-b")
    up = np.array(half["up"])
    for mark in half["marks"].values():
        mark |= {
            "name": "line 7 mm under the first",
            "point": (np.array([mark["point"][0], 0.0, 0.0]) + 13.0 * up).tolist(),
        }
    job = print_job(script)
    for end in job.log.ends("log"):
        lines = {
            line.name: line
            for group in end_lines(job.log, job.shop, lined_settings(job.log, job.shop), end)
            for line in group.lines
        }
        assert lines["M3"].points is not None and lines["M3"].ticks and not lines["M3"].sawn
        away = end.pith + lines["M3"].points @ np.array([end.right, end.up])
        np.testing.assert_allclose(away @ up, 13.0, atol=1e-6)
    assert "until line M3 on both ends stands at one height" in panel_of(script, 3)


def test_a_line_that_misses_an_end_is_said_to(small):
    script = small_script()
    cut = next(one for one in script["operations"] if one["op"] == "cut" and one["id"] == "c5")
    cut["normal"] = (np.array([0.25, 0.0, 0.0]) + np.array(cut["normal"])).tolist()
    job = print_job(script)
    butt, top = (
        end_lines(job.log, job.shop, lined_settings(job.log, job.shop), end)[-1].lines[0] for end in job.log.ends("log")
    )
    assert butt.points is not None and top.points is None
    text = " ".join(next(t for *_, t in sheet_of(script) if "Draw the lines" in t).split())
    assert re.search(r"5 (?:[LR][▲▼] )?[\d.]+ .* misses", text) and "does not meet that end" in text


def test_ticks_are_never_drawn_as_sawn(small):
    job, _ = small
    for end in job.log.ends("log"):
        for group in end_lines(job.log, job.shop, lined_settings(job.log, job.shop), end):
            for line in group.lines:
                assert not (line.name.startswith("T") and line.sawn)
                assert not (line.name.isdigit() and line.ticks)


def test_bolts_that_lie_on_their_own_face_have_no_lines():
    job = print_job(cradle_script())
    assert [one.piece for one in lined_settings(job.log, job.shop)] == ["log", "half-a"]
    flat, held = (panel_of(cradle_script(), number) for number in (3, 4))
    assert "on sawn face 1, flat on the bed" in flat and "by the scale, over the bed" in flat
    assert "sawn face 5 down in the 22.5° cradle" in held


def test_the_first_box_holds_the_arms_of_each_end(small):
    job, pages = small
    first = " ".join(pages[0][3].split())
    butt, top = (end.arms() for end in job.log.ends("log"))
    for arm in ("up", "right", "down", "left"):
        assert re.search(rf"{arm}\b.*? {job.fmt.length(butt[arm])} ± [\d.]+ mm {job.fmt.length(top[arm])} ± ", first)
    assert "do not saw" in first


def test_the_headline_is_what_is_likely(small):
    text = " ".join(small[1][0][3].split())
    assert "Likely 1.1 L in all (between 1.0 L and 1.2 L): so four times in five" in text


def test_limits_are_in_words_what_they_share_once():
    script = cradle_script()
    shared = {
        "ring_angle_min_deg": 70.0,
        "ring_angle_mean_deg": 78.0,
        "runout_max_deg": 3.0,
        "ring_angle_max_deg": 88.0,
    }
    script["inputs"]["products"]["limits"] = {
        "trade": {**shared, "slope_max_deg": 6.0},
        "necks": {**shared, "slope_max_deg": 4.0},
    }
    script["plates"][0]["limits"] = "necks"
    text = " ".join(sheet_of(script)[0][3].split())
    assert ("rings at least 70° to the face, 78° on average, at most 88°, grain runs out of the face at most 3°; "
            "necks: slopes in the face at most 4°; trade: slopes in the face at most 6°") in text  # fmt: skip


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", SCRIPTS)
def test_the_first_page_leaves_no_row_over(name, paper):
    pages = sheet_of(SCRIPTS[name](), paper=paper)
    assert "Look and sweep for nails" in pages[0][3]
    assert re.match(r"(Crosscut first|2 Draw the lines)", pages[1][3])


@pytest.mark.parametrize("name", SCRIPTS)
def test_the_rules_of_the_mill_stand_once_and_before_the_first_setting(name):
    text = words_of(SCRIPTS[name]())
    assert text.count("At the mill: for every setting") == text.count("Dogged before it is sawn") == 1
    assert text.index("Draw the lines") < text.index("At the mill: for every setting") < text.index(" at the mill ·")


def test_what_bolts_in_one_cradle_share_is_said_once_and_what_is_each_ones_own_stands_by_it():
    """What is left in the cradle of the fourth setting is sawn twice more there, each time as a bolt of its own."""
    script = cradle_script()
    place = next(n for n, one in enumerate(script["operations"]) if one.get("set_up") == "cradle 22.5")
    setting, cut = script["operations"][place : place + 2]
    next(one for one in script["pieces"] if one["id"] == "slab-4")["kind"] = "bolt"
    for number, piece in enumerate(("slab-4", "low-1"), 1):
        again = setting | {"id": f"again-{number}", "piece": piece}
        made = {"above": f"high-{number}", "below": f"low-{number}"}
        ids = {"id": f"again-cut-{number}", "setting": again["id"], "piece": piece}
        lower = {name: cut[name] - 15.0 * number for name in ("offset", "blade_height")}
        script["operations"][place + 2 * number : place + 2 * number] = [again, cut | ids | made | lower]
        script["pieces"] += [{"id": made[side], "kind": kind, "made_by": ids["id"], "volume": 1.0e6} for side, kind in
                             (("above", "slab"), ("below", "bolt"))]  # fmt: skip
    marks = crayon_marks(script["pieces"])
    for piece in script["pieces"]:
        piece["mark"] = marks[piece["id"]]
    job, text = print_job(script), columns_of(sheet_once(dumps(script)), 0.39)
    alike = [one for one in job.log.settings if one.against and one.tool is Saw.MILL and one.against.angle > 1.0]
    assert len(alike) == 3
    assert text.count("where the two faces told meet") == 1
    for one in alike:
        arris = arris_of(job, one, holding_of(job.log, one))
        assert f"A, faces {arris.one}, {arris.other}: butt {job.fmt.bare(arris.butt)} " in text
        assert all(f"{job.log.cut_numbers[made.id]} {job.fmt.bare(abs(made.blade_height - arris.mean))} " in text
                   for made in job.log.cuts_of(one))  # fmt: skip


def test_a_bolt_in_a_cradle_is_measured_from_its_arris():
    """How high a cradle holds a bolt depends on how far up it the bolt lies; from the arris every cut is where it is planned."""
    job = print_job(cradle_script())
    setting = next(one for one in job.log.settings if one.piece == "bolt-3" and one.tool is Saw.MILL)
    arris = arris_of(job, setting, holding_of(job.log, setting))
    cut = job.log.cuts_of(setting)[0]
    point = np.array([1000.0, -10.0, 61.0])  # where the faces of cuts c4 and c5 meet
    assert cut.blade_height - arris.mean == pytest.approx(cut.offset - float(cut.normal @ point), abs=1.5)
    assert f"from arris A, where faces {arris.one} and {arris.other} meet" in panel_of(cradle_script(), 4)
    flat = next(one for one in job.log.settings if one.piece == "bolt-1" and one.tool is Saw.MILL)
    assert arris_of(job, flat, holding_of(job.log, flat)) is None


def test_what_a_doubt_costs_stands_in_litres_where_the_script_has_it(small):
    assert "If it is off" not in small[1][0][3]
    script = small_script()
    script["uncertainty"]["cost_of"] = {"roll_5_deg": 1.26e6, "height_5_mm": 0.5e6, "pith_5_mm": 2.0e6}
    text = " ".join(sheet_of(script)[0][3].split())
    assert "lost by 5° of roll, 1.3 L; by 5 mm of height, 0.5 L; by 5 mm of pith, 2.0 L" in text


def test_a_crosscut_is_taped_along_the_bark_at_four_hours():
    """On a straight cylinder a cut square to it lies 1500 mm from x = 0, less what the slanted butt end has there."""
    script = bucked_script()
    job = print_job(script)
    setting = job.log.settings[0]
    cut = job.log.cuts_of(setting)[0]
    taped = along_the_bark(job.log, setting, cut)
    butt = job.log.ends("log").butt
    arms, ways = butt.arms(), {"up": butt.up, "right": butt.right, "down": -butt.up, "left": -butt.right}
    for hour, arm in {"12": "up", "3": "right", "6": "down", "9": "left"}.items():
        start = butt.pith + arms[arm] * ways[arm]
        assert taped[hour] == pytest.approx(1500.0 - start[0], abs=0.1)
    assert len({round(one) for one in taped.values()}) > 2
    text = words_of(bucked_script())
    assert "Crosscut first" in text and "support close to both sides of every cut" in text
    assert " ".join(job.fmt.length(taped[hour]) for hour in ("12", "3", "6", "9")) in text


def test_a_shorter_log_is_lined_by_itself_up_to_its_new_end():
    job = print_job(bucked_script())
    lower = job.log.mark("lower")
    pages = [text for *_, text in sheet_of(bucked_script())]
    assert sum(f"Draw the lines of {lower}" in text for text in pages) == 1
    for end in job.log.ends("lower"):
        for group in end_lines(job.log, job.shop, lined_settings(job.log, job.shop), end):
            assert all(line.sawn for line in group.lines if line.name.isdigit())


def test_the_ladder_is_drawn_where_the_script_has_it(small):
    assert "Fewer set-ups" not in small[1][0][3]
    script = small_script()
    row = {"settings": 3, "instrument_volume": 2.0e6, "sets": {"ukulele": 2}, "minutes": 42.0}
    script["proof"]["trade_off"] = [
        {"max_settings": 3, **row},
        {"max_settings": None, **row, "settings": 9, "instrument_volume": 3.5e6, "sets": {}},
    ]
    text = words_of(script)
    assert "Fewer set-ups" in text
    words = " ".join(rung_words(print_job(script)))
    assert "At most 3 settings: 2 ukulele sets; 3 set-ups, 0.7 h, 2.0 L." in words
    assert "This plan: no complete set; 9 set-ups, 0.7 h, 3.5 L." in words


def test_what_all_rungs_share_is_said_once_and_in_words_of_the_mill():
    script = cradle_script()
    for row, name in zip(script["proof"]["ladder"], ("practice layout kept", "cradle 30°"), strict=True):
        row["title"] = name
    text, words = words_of(script), " ".join(rung_words(print_job(script)))
    assert "This plan, bolts in the 30° cradle: 1 small guitar set; 5 set-ups, 1.5 h" in words
    assert "Customary cuts, filled for sets" in words and "each hour more brings 74 EUR." in words
    for told in (text, words):
        assert told.count("Customary way beside each: 2 bridges, 20 EUR.") == 1
        assert "practice layout" not in told and "cradle 30°" not in told
    script["proof"]["ladder"][0]["practice"] = dict(script["proof"]["ladder"][0]["practice"]) | {
        "earnings": 12.0,
        "minutes": 33.0,
    }
    apart = words_of(script)
    assert "beside each" not in apart and "12 EUR" in apart


def test_words_that_no_sawyer_reads_are_not_there(small):
    text = words_of(small_script())
    assert not re.search(r"charged|p10|p90|stated class|\bgrid\b|1 settings|1 plates", text)
