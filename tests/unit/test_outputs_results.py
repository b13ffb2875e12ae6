"""What a plan brings, as page one of the sheet leads with it: sets, litres, hours, what is sold, earned and left."""

from pithline.cli.console import Console
from pithline.cli.plan_summary import show_plan
from pithline.outputs.formatting import Formatter
from pithline.outputs.print_job import print_job
from pithline.outputs.results import results_beside, results_of, results_rows, sets_in_words
from pithline.outputs.sheet.set_up_sheet import set_up_sheet
from unit.cradle_fixture import cradle_script
from unit.outputs_fixture import small_script
from unit.pdf_reading import pages_of


def first_page(script):
    """All that page one says, in a line."""
    return " ".join(pages_of(set_up_sheet(print_job(script, "mm", "A4")))[0][3].split())


def test_the_first_page_leads_with_sets_litres_hours_and_earnings():
    text = first_page(cradle_script())
    assert "complete sets 1 small guitar set, 2 bridges" in text
    assert "in sets 0.8 L, sell for 160 EUR" in text and "loose 1.5 L, sell for 12 EUR" in text
    assert "1.5 h, cost 90 EUR; 5 set-ups" in text
    assert "earnings 82 EUR 20 EUR 20 EUR" in text and "an hour 55 EUR" in text
    assert "4 plates in no set" in text
    assert text.index("complete sets") < text.index("Measure before you saw")


def test_what_is_left_once_the_log_is_paid_stands_where_the_card_tells_its_cost():
    script = cradle_script()
    assert "log paid" not in first_page(script)
    script["inputs"]["card"].setdefault("log", {})["cost"] = 30.0
    text = first_page(script)
    assert "left, log paid 52 EUR -10 EUR -10 EUR" in text and "(30 EUR)" in text


def test_what_an_older_script_does_not_sum_is_worked_out():
    script = small_script()
    script["inputs"]["mill"]["mill"]["hour_rate"] = 60.0
    script["totals"]["value"] = 100.0
    text = first_page(script)
    assert "earnings 58" in text  # 42 minutes at 60 an hour
    assert "in sets 1.2 L" in text


def test_likely_earnings_lead_where_the_script_knows_them():
    script = cradle_script()
    script["uncertainty"] |= {
        "earnings": {"p10": 50.0, "p50": 60.0, "p90": 82.0},
        "sets": {"small guitar": {"p10": 0.0, "p50": 1.0, "p90": 1.0}, "bridge": {"p10": 2.0, "p50": 2.0, "p90": 2.0}},
    }
    script["proof"]["ladder"][1]["likely_earnings"] = 60.0
    text = first_page(script)
    assert "earnings 60 EUR likely, 82 EUR as" in text and "an hour 40 EUR" in text
    assert "60 EUR earned (between 50 EUR and 82 EUR), 0 to 1 small guitar sets" in text
    assert "48 EUR" in text  # 40 more in 50 minutes more than the row before


def test_sets_are_told_apart_where_a_name_has_a_comma():
    script = cradle_script()
    name = "guitar, three-piece back"
    for one in script["inputs"]["products"]["product"]:
        one["name"] = name if one["name"] == "small guitar" else one["name"]
    script["totals"]["sets"] = {name: 2, "bridge": 3}
    assert sets_in_words(results_of(print_job(script).log.script)) == "2 sets of guitar, three-piece back; 3 bridges"


def test_the_console_tells_the_figures_of_page_one_and_of_its_ladder(capsys):
    script = cradle_script()
    script["inputs"]["card"].setdefault("log", {})["cost"] = 30.0
    script["uncertainty"]["earnings"] = {"p10": 50.0, "p50": 60.0, "p90": 82.0}
    script["proof"]["ladder"][1]["likely_earnings"] = 60.0
    show_plan(Console(), script)
    told = " ".join(capsys.readouterr().out.replace("│", " ").split())
    written = print_job(script).log.script
    for name, text in results_rows(written, Formatter()).items():
        row = [text(one).replace("**", "") for one in results_beside(written).values()]
        assert name.split(" (")[0].split()[0] in told and row[0].split(";")[0].split()[0] in told
    assert "60 EUR likely, 82" in told and "48 each hour more" in told
