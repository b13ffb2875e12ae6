"""The appraisal as one page that holds everything and fetches nothing; it reads on a phone in the yard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files
from typing import Any

from pithline.outputs.appraisal_document import M3, L, in_currency, sets_in_words, span
from pithline.outputs.appraisal_picture import Pictures
from pithline.trade.weights import heaviest_likely
from pithline.units import KG_PER_POUND

RULES = {"doyle": "Doyle", "international_quarter": "International ¼ in", "scribner": "Scribner (formula)"}
BASIS = {
    "scan": "scanned all round, but for what it lies on",
    "one flank": "one flank scanned",
    "tape": "by tape only",
}


def appraisal_html(document: Mapping[str, Any], pictures: Sequence[Pictures | None]) -> bytes:
    """The page; `pictures` in the order of the document's logs."""
    style = files("pithline.outputs").joinpath("appraisal.css").read_text(encoding="utf-8")
    logs = document["logs"]
    most = max((log["value"]["p90"] for log in logs if log["state"] == "appraised"), default=0.0)
    most = max([most, *[log["asked"] or 0.0 for log in logs]]) or 1.0
    body = [
        f"<header><h1>What {_count(len(logs))} worth</h1>",
        f"<p>Best buy first, as of {escape(document['on'])}. {escape(in_currency(document['currency']))}"
        f"The highest bid leaves you {document['bid_margin']:.0%} of what the log brings, after sawing and drying. Only plates that "
        "make up whole sets count; the rest of the log counts at the price per cubic metre in the priors file.</p>"
        '<p class="key">Bars: <i class="range"></i> four logs in five bring something in this span, <i class="median"></i> as '
        'likely more as less, <i class="top"></i> highest bid, <i class="asked"></i> asked. '
        'Pictures: <i class="pith"></i> pith, <i class="doubt"></i> how far bark and pith may lie off, <i class="plate"></i> plates '
        "planned at that end.</p></header>",
        overview(logs, most),
    ]
    body += [section(log, one, most) for log, one in zip(logs, pictures, strict=True)]
    body.append(
        f"<footer><p>Drawn {document['samples']} times for each log, seed {document['seed']}; what is worth finding out: "
        f"{document['answers']} answers each, {document['inner']} logs an answer. Figures after ± are the standard error of having "
        "drawn no more than that. Spans are p10 to p90: one log in ten comes out lower, one in ten higher. Grades and yields are "
        "estimates: what no scan shows is drawn from the priors file, much of it invented. A log found to hold metal is not sawn "
        "until it is out; "
        "mind the maker's manual of your loader and mill before lifting anything by these weights.</p></footer>"
    )
    page = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Appraisal of {_count(len(logs)).split(' ', 1)[0]} logs</title><style>{style}</style></head><body>"
        + "\n".join(body)
        + "</body></html>\n"
    )
    return page.encode()


def _count(number: int) -> str:
    return "1 log is" if number == 1 else f"{number} logs are"


def overview(logs: Sequence[Mapping[str, Any]], most: float) -> str:
    """The ranked table: one line a log."""
    rows = []
    for log in logs:
        name = f'<a href="#{_anchor(log)}">{escape(log["id"])}</a>'
        asked = "–" if log["asked"] is None else f"{log['asked']:.0f}"
        if log["state"] == "failed":
            rows.append(
                f'<tr class="failed"><td>–</td><th scope="row">{name}</th><td colspan="4">{escape(log["why"])}</td></tr>'
            )
            continue
        kind = _standing(log)
        rows.append(
            f'<tr class="{kind}"><td>{log["rank"]}</td><th scope="row">{name}</th><td class="bar">{bar(log, most)}</td>'
            f'<td class="n bid">{log["highest_bid"]:.0f}</td><td class="n">{asked}</td><td class="why">{escape(log["why"])}</td></tr>'
        )
    return (
        '<table class="ranked"><thead><tr><th>rank</th><th>log</th><th>what its sets bring</th><th>highest bid</th>'
        "<th>asked</th><th>why</th></tr></thead><tbody>" + "".join(rows) + "</tbody></table>"
    )


def _standing(log: Mapping[str, Any]) -> str:
    if log["asked"] is None:
        return "open"
    return "worth" if log["highest_bid"] >= log["asked"] else "dear"


def _anchor(log: Mapping[str, Any]) -> str:
    return "log-" + "".join(c if c.isalnum() else "-" for c in str(log["id"]))


def bar(log: Mapping[str, Any], most: float) -> str:
    """The span of the value, its median, the highest bid and the price asked, on one scale for the whole page."""
    value = log["value"]
    at = {key: 100.0 * value[key] / most for key in ("p10", "p50", "p90")}
    bid = 100.0 * log["highest_bid"] / most
    asked = (
        ""
        if log["asked"] is None
        else f'<path class="asked" d="M{100.0 * log["asked"] / most:.1f} 1v8"><title>asked</title></path>'
    )
    words = f"value {value['p10']:.0f} to {value['p90']:.0f}, median {value['p50']:.0f}; highest bid {log['highest_bid']:.0f}"
    return (
        f'<svg class="span" viewBox="-1 0 102 10" preserveAspectRatio="none" role="img" aria-label="{escape(words)}">'
        f'<path class="axis" d="M0 9.5H100"/><path class="range" d="M{at["p10"]:.1f} 5H{max(at["p90"], at["p10"] + 0.4):.1f}"/>'
        f'<path class="median" d="M{at["p50"]:.1f} 2v6"/><path class="top" d="M{bid:.1f} 1v8"/>{asked}</svg>'
    )


def section(log: Mapping[str, Any], pictures: Pictures | None, most: float) -> str:
    """Everything on one log."""
    head = f'<section id="{_anchor(log)}" class="{"failed" if log["state"] == "failed" else _standing(log)}">'
    if log["state"] == "failed":
        return f"{head}<h2>{escape(log['id'])}</h2><p class='why'>Not appraised: {escape(log['why'])}</p></section>"
    value, volume = log["value"], log["volume"]
    facts = [
        (
            "highest bid",
            f"<b>{log['highest_bid']:.0f}</b>" + ("" if log["asked"] is None else f", asked {log['asked']:.0f}"),
        ),
        ("its sets bring", f"{span(value)}, on average {value['mean']:.0f} ± {value['error']:.0f}"),
        ("complete sets", escape(sets_in_words(log))),
        ("plates", f"{span(volume, L, 1)} L, on average {volume['mean'] / L:.1f} L"),
        ("rest of the log", f"{log['rest_value']:.0f}" if log["rest_value"] else "not counted, no price set"),
        (
            "costs",
            f"sawing {log['costs']['sawing']:.0f} ({log['minutes'] / 60:.1f} h), drying {log['costs']['drying']:.0f}, "
            f"bands lost to metal {log['costs']['metal']:.0f}",
        ),
    ]
    feet = ", ".join(f"{RULES[rule]} {feet:.0f}" for rule, feet in log["log_rules"].items())
    heavy = heaviest_likely(log["green_weight_kg"])
    trade = [
        ("board feet", f"{feet}; on a small end of {log['diameter_small_end']:.0f} mm inside bark"),
        ("volume", f"{log['cubic_volume'] / M3:.3f} m³ inside, {log['cubic_volume_over_bark'] / M3:.3f} m³ over bark"),
        (
            "green weight",
            f"{log['green_weight_kg']:.0f} kg ({log['green_weight_kg'] / KG_PER_POUND:.0f} lb); allow for {heavy:.0f} kg",
        ),
    ]
    pays = [one for one in log["worth_finding_out"] if one["worth"] >= 0.5]
    worth = "".join(
        f"<li><span>{escape(one['what'])}</span> <b>{one['worth']:.0f}</b> <i>± {one['error']:.0f}</i></li>"
        for one in pays
    )
    others = ", ".join(escape(one["what"]) for one in log["worth_finding_out"] if one not in pays)
    none = f"<p class='none'>{'no gain seen in ' + others if others else '' if worth else 'nothing more'}</p>"
    spoil = "".join(f"<li>{escape(words)}</li>" for words in log["spoilers"])
    drawn = ""
    if pictures is not None:
        drawn = (
            f'<div class="pictures"><figure class="wide">{pictures.side}<figcaption>from the side, butt on the left'
            f"</figcaption></figure><figure class='wide'>{pictures.above}<figcaption>from above</figcaption></figure>"
            f"<figure>{pictures.butt}<figcaption>butt</figcaption></figure>"
            f"<figure>{pictures.top}<figcaption>top end</figcaption></figure></div>"
        )
    cautions = "".join(f"<li>{escape(words)}</li>" for words in log["cautions"])
    more = f"<details open><summary>cautions</summary><ul>{cautions}</ul></details>" if cautions else ""
    return (
        f"{head}<h2><span>{log['rank']}</span> {escape(log['id'])}</h2><p class='why'>{escape(log['why'])}</p>"
        f"<p class='basis'>{escape(log['species'])}, {log['length'] / 1000:.2f} m, {BASIS[log['basis']]}{_first(log)}</p>{drawn}"
        f'<div class="figures">{bar(log, most)}{_facts(facts)}{_facts(trade)}</div>'
        f'<div class="lists"><div><h3>most likely to spoil it</h3><ol>{spoil}</ol></div>'
        f"<div><h3>worth finding out, in money</h3><ul class='worth'>{worth}</ul>{none}</div></div>{more}</section>"
    )


def _first(log: Mapping[str, Any]) -> str:
    """Where the log is crosscut before it is sawn."""
    at = " and ".join(f"{place / 1000:.2f} m" for place in log["crosscuts"])
    return f"; crosscut first, {at} from the butt" if at else ""


def _facts(facts: Sequence[tuple[str, str]]) -> str:
    return "<dl>" + "".join(f"<div><dt>{name}</dt><dd>{words}</dd></div>" for name, words in facts) + "</dl>"
