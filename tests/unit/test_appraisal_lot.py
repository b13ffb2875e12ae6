"""A lot's ranking, its files, and every bad input through the command."""

import copy
import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema_rs import meta

from appraisal_by_hand import card, known, nothing_hidden, plates, terms
from pithline.cli.main import main
from pithline.errors import MillError, ScriptError
from pithline.files.priors import PRIORS, STANDINGS, priors_as_read
from pithline.outputs.reports.appraisal_document import (
    appraisal_csv,
    appraisal_json,
    appraisal_schema_bytes,
    check_appraisal,
)
from pithline.outputs.reports.appraisal_page import appraisal_html
from pithline.outputs.reports.appraisal_pictures import pictures_of
from pithline.yard.appraisal import lot as lot_module
from pithline.yard.appraisal.appraise import spread, why
from pithline.yard.appraisal.lot import Done, appraise_lot, document, failed, ranked
from pithline.yard.appraisal.terms import Lot

DOCS = Path(__file__).resolve().parents[2] / "docs"
TERMS = terms()
RULES = {"doyle": 120, "international_quarter": 130, "scribner": 125}
FLAT = spread([1.0, 2.0, 3.0, 4.0])


def row(name, bid, asked):
    """A whole row with its bid and the price asked."""
    out = {
        "id": name, "rank": None, "state": "appraised", "why": "", "species": "black walnut", "basis": "tape",
        "length": 2000.0, "diameter_small_end": 500.0, "sweep": 12.0, "volume": spread([4e7, 5e7, 6e7]),
        "sets": {"tenor ukulele": FLAT}, "sales": spread([700.0, 800.0, 1000.0]), "value": spread([-20.0, 700.0, 900.0]),
        "crosscuts": [], "minutes": 120.0, "drying_months": 1.2, "metal_chance": 0.03,
        "costs": {"sawing": 120.0, "drying": 9.0, "metal": 1.0}, "highest_bid": bid, "asked": asked, "rest_value": 0.0,
        "log_rules": dict.fromkeys(RULES, 128.4), "scaled": {"inches": 19, "feet": 6, "board_feet": RULES},
        "bid_per_board_foot": {rule: bid / feet for rule, feet in RULES.items()},
        "other_buyer": {"rule": "doyle", "board_feet": 120, "price": 1.5, "gives": 180.0}, "cubic_volume": 4e8,
        "cubic_volume_over_bark": 4.6e8, "green_weight_kg": 430.0,
        "plan": {"way": "cradle 30°", "searched": True, "plans": 3, "set_ups": 5, "sets": {"tenor ukulele": 3}, "volume": 5e7,
                 "earnings": 690.0},
        "spoilers": ["a <nail>", "rot"], "worth_finding_out": [{"what": "scanning it", "worth": 31.0, "error": 4.0}],
        "cautions": ["no bark on the card"],
    }  # fmt: skip
    out["why"] = why(out, {"tenor ukulele": 60.0})
    return out


def whole():
    """A ranked lot of five and the pictures of each."""
    log = known(nothing_hidden())
    drawn = pictures_of(log.model, "scan", [(p.corner, p.edges) for p in plates()])
    rows = [row("dear", 200.0, 260.0), row("good", 300.0, 250.0), row("open", 500.0, None), row("best", 400.0, 250.0)]
    bad = failed(
        Lot("x.toml", card(id="long"), {}), "long: it is 4000 mm long, the longest log the mill takes is 3200 mm."
    )
    done = ranked([Done(bad, None), *[Done(one, drawn) for one in rows]])
    return document(done, TERMS), done


def test_the_best_buy_comes_first_and_a_failure_last():
    got, _ = whole()
    assert [log["id"] for log in got["logs"]] == ["best", "good", "open", "dear", "long"]
    assert [log["rank"] for log in got["logs"]] == [1, 2, 3, 4, None]
    assert got["logs"][-1]["why"].startswith("it is 4000 mm long")
    assert "150 over the 250 asked" in got["logs"][0]["why"] and "60 under the 260" in got["logs"][3]["why"]


def test_the_sentence_names_the_sets_that_bring_most_and_says_where_nothing_has_a_price():
    one = {**row("a", 100.0, None), "sets": {"bridge": spread([6.0, 6.0]), "guitar": spread([4.0, 4.0]), "neck": FLAT}}
    told = why(one, {"bridge": 8.0, "guitar": 180.0, "neck": 30.0})
    assert told == (
        "4.0 guitar and 2.5 neck sets expected; worth up to 100, no price asked. Another buyer may give 180: it is worth more to him."
    )
    assert why(one, dict.fromkeys(one["sets"], 0.0)).endswith("no product has a price, so there is no bid.")


def test_logs_without_prices_are_ranked_by_volume():
    little, much = row("little", 0.0, None), {**row("much", 0.0, None), "volume": spread([7e7, 8e7])}
    assert [one.row["id"] for one in ranked([Done(little, None), Done(much, None)])] == ["much", "little"]


def test_a_lot_of_which_no_log_can_be_sawn_tells_of_each_in_one_line(tmp_path, capsys):
    cards = [write(tmp_path, name, name, top='girth_top = "1.5 m"') for name in ("a", "b")]
    for path, old, new in ((cards[0], "1.6 m", "2.6 m"), (cards[1], '"2 m"', '"0.5 m"')):
        Path(path).write_text(Path(path).read_text().replace(old, new))
    assert main(["appraise", *cards, "--workers", "1"]) == 2
    *_, told = capsys.readouterr().err.splitlines()  # a slow machine tells its progress before
    assert re.search("^error: a: it is .* across .* b: it is 500 mm long, the shortest", told)


def test_json_holds_to_its_schema_and_csv_says_the_same():
    got, _ = whole()
    text = appraisal_json(got)
    again = json.loads(text)
    assert again["logs"][0]["highest_bid"] == 400.0 and text == appraisal_json(whole()[0])
    rows = list(csv.DictReader(io.StringIO(appraisal_csv(got).decode())))
    assert [one["id"] for one in rows] == [log["id"] for log in again["logs"]]
    for one, log in zip(rows, again["logs"], strict=True):
        if log["state"] == "appraised":
            assert float(one["highest_bid"]) == pytest.approx(log["highest_bid"], abs=0.5)
            assert float(one["value_p90"]) == pytest.approx(log["value"]["p90"], abs=0.5)
            assert float(one["cubic_m3"]) == pytest.approx(log["cubic_volume"] / 1e9, abs=1e-3)


def test_the_schema_is_a_schema_and_stands_in_docs_too():
    meta.validate(json.loads(appraisal_schema_bytes()))
    assert (DOCS / "schemas" / "appraisal.schema.json").read_bytes() == appraisal_schema_bytes()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d.pop("currency"), "currency"),
        (lambda d: d["logs"][0].update(highest_bid=-1.0), "highest_bid"),
        (lambda d: d["logs"][0].update(mood="good"), "mood"),
        (lambda d: d.update(bid_margin=1.2), "bid_margin"),
    ],
)
def test_an_appraisal_that_does_not_hold_is_refused(change, words):
    got = copy.deepcopy(json.loads(appraisal_json(whole()[0])))
    change(got)
    with pytest.raises(ScriptError, match=words):
        check_appraisal(got)


def test_the_page_stands_alone_and_shows_every_log():
    got, done = whole()
    page = appraisal_html(got, [one.pictures for one in done]).decode()
    assert not re.search(r"(src|href)=[\"'](?!#)", page) and "http" not in page.replace("http-equiv", "")
    assert page.count("<section") == 5 and page.count('class="end') == 8 and page.count('class="flank') == 8
    assert "a &lt;nail&gt;" in page and "<nail>" not in page
    assert "the longest log the mill takes is 3200 mm" in page


def test_one_log_that_fails_costs_no_other(monkeypatch):
    def appraise(one, terms, progress, share):
        if one.card.id == "long":
            raise MillError("long: it is too long for the mill.")
        if one.card.id == "odd":
            raise RuntimeError("something of ours")
        raise AssertionError

    monkeypatch.setattr(lot_module, "appraise", appraise)
    lot = [Lot("a", card(id="long"), {}), Lot("b", card(id="odd"), {})]
    got, _ = appraise_lot(lot, TERMS, 1, lambda what, part: None)
    assert [log["state"] for log in got["logs"]] == ["failed", "failed"]
    assert got["logs"][0]["why"] == "it is too long for the mill."
    assert "a defect in pithline: RuntimeError: something of ours" in got["logs"][1]["why"]


def test_every_bundled_prior_says_where_it_comes_from():
    values = priors_as_read()["prior"]
    assert set(values) == set(PRIORS.keys["prior"].keys)
    assert {one["standing"] for one in values.values()} <= set(STANDINGS)
    assert all(len(one["source"]) > 20 for one in values.values())


def test_docs_name_every_key_of_priors_and_appraisal():
    words = set(re.findall(r"[A-Za-z0-9_]+", (DOCS / "appraisal.md").read_text(encoding="utf-8")))
    keys = set(PRIORS.keys["prior"].keys) | set(PRIORS.keys["money"].keys) | set(PRIORS.keys["sampling"].keys)
    schema = json.loads(appraisal_schema_bytes())
    keys |= set(schema["properties"]) | set(schema["$defs"]["appraised"]["properties"])
    assert not keys - words


CARD = (
    '[log]\nid = "{id}"\nspecies = "black walnut"\ncost = {cost}\n[tape]\nlength = "2 m"\ngirth_butt = "1.6 m"\n{top}\n'
)


def write(folder, name="a", id="a", cost="100", top='girth_top = "1.5 m"'):
    path = folder / f"{name}.toml"
    path.write_text(CARD.format(id=id, cost=cost, top=top), encoding="utf-8")
    return str(path)


def edited(folder, name, old, new):
    """A bundled file with one line changed."""
    from pithline.files.bundled import bundled

    text = bundled(name).read_text(encoding="utf-8")
    assert old in text
    path = folder / Path(name).name
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda d: [write(d, cost="-5")], r"a.toml: \[log\] cost is -5"),
        (lambda d: [write(d), "--bid-margin", "140%"], "--bid-margin is 140%"),
        (lambda d: [write(d), write(d, "b")], 'b.toml: .*id "a" is also that of .*a.toml'),
        (lambda d: [write(d, top="")], r"a.toml: \[tape\] lacks girth_top"),
        (lambda d: [write(d, top='girth_top = "1.5 m"\nsweep_clock_deg = 90')], "sweep_clock_deg but no sweep"),
        (
            lambda d: [write(d), "--priors", edited(d, "priors.toml", "sd = 0.02", "sd = -0.02")],
            r"\[prior.bark_ratio\] sd is -0.02, which makes this prior no distribution",
        ),
        (
            lambda d: [write(d), "--priors", edited(d, "priors.toml", "forest = 0.03", "forest = 1.3")],
            "forest is 1.3, which makes this prior no distribution",
        ),
        (
            lambda d: [write(d), "--priors", edited(d, "priors.toml", "per_m2 = 0.25", "per_m2 = -1")],
            "no distribution; a rate is 0 or more",
        ),
        (
            lambda d: [write(d), "--priors", edited(d, "priors.toml", 'standing = "customary"\n', "")],
            'needs the key "standing"',
        ),
        (
            lambda d: [write(d), "--products", edited(d, "products/guitar.toml", "\nsizes =", '\ncurrency = "EUR"\nsizes =')],
            'prices are in "EUR", but costs in .* are in "money"',
        ),
        (lambda d: [write(d), "--on", "yesterday"], "--on is \"yesterday\", which is no day"),
        (lambda d: [write(d), "--seed", "-1"], "--seed is -1"),
        (lambda d: [write(d), "--workers", "0"], "--workers is 0"),
        (lambda d: [str(d / "none.toml")], "there is no such file"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line(tmp_path, capsys, make, words):
    out = tmp_path / "out"
    assert main(["appraise", *make(tmp_path), "--out", str(out)]) == 2
    told = capsys.readouterr().err
    assert told.startswith("error: ") and told.count("\n") == 1 and re.search(words, told), told
    assert not out.exists()


def test_terms_are_frozen_and_priors_are_replaced_whole():
    less = lot_module.for_a_lot(TERMS.priors)
    assert (
        less.sampling.samples < TERMS.priors.sampling.samples
        and replace(less, sampling=TERMS.priors.sampling) == TERMS.priors
    )
