"""The season's report: one page that stands alone, for a desk and for a phone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

from pithline.outputs.season_plots import season_plots

STYLE = """
:root{color-scheme:light;--ink:#22201d;--soft:#6b645b;--line:#ddd5ca;--wood:#8a6f52;--bad:#a8321c;--paper:#fbf9f6}
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.45 system-ui,sans-serif}
main{max-width:1080px;margin:0 auto;padding:20px 16px 48px}
h1{font-size:1.6rem;margin:.2em 0}.table+p{margin-top:1.8em}h2{font-size:1.15rem;margin:1.8em 0 .5em}
p{margin:.4em 0;max-width:72ch}.soft{color:var(--soft)}
.facts{display:grid;grid-template-columns:repeat(auto-fit,minmax(140px,1fr));gap:10px;margin:16px 0;padding:0}
.facts div{border:1px solid var(--line);border-radius:8px;padding:10px 12px;background:#fff}
.facts b{display:block;font-size:1.35rem;font-variant-numeric:tabular-nums}.facts span{color:var(--soft);font-size:.85rem}
.plots{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,330px),1fr));gap:16px}
figure{margin:0;border:1px solid var(--line);border-radius:8px;padding:10px;background:#fff}
figcaption{font-weight:600;margin-bottom:4px}figure svg{width:100%;height:auto;display:block}
.table{overflow-x:auto;border:1px solid var(--line);border-radius:8px;background:#fff}
table{border-collapse:collapse;width:100%;font-size:.92rem}
th,td{padding:7px 10px;text-align:left;border-bottom:1px solid var(--line);vertical-align:top}
tr:last-child td{border-bottom:0}th{font-weight:600;color:var(--soft);white-space:nowrap}
.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}td.key,td.w{white-space:nowrap}.bad{color:var(--bad)}
@media(max-width:640px){table,tbody,tr,td{display:block}thead{display:none}tr{padding:8px 0;border-bottom:1px solid var(--line)}
tr:last-child{border:0}td{border:0;padding:2px 12px;display:flex;justify-content:space-between;gap:16px;text-align:right}
td::before{content:attr(data-is);color:var(--soft);text-align:left;flex:none}td.e{display:none}td.key{font-weight:600;font-size:1rem}}
@media print{body{background:#fff}figure,.table{break-inside:avoid}}
"""


def season_html(document: Mapping[str, Any]) -> bytes:
    """The report of a season document."""
    total, logs, orders = document["totals"], document["logs"], document["orders"]
    count = {state: sum(log["state"] == state for log in logs) for state in ("planned", "left", "failed")}
    asked, filled = sum(o["quantity"] for o in orders), sum(o["filled"] for o in orders)
    begins = {week["week"]: week["begins"] for week in document["weeks"]}
    sawn = sorted((log for log in logs if log["state"] == "planned"), key=lambda log: (log["week"], log["id"]))
    plots = season_plots(document)
    money = document["currency"]
    facts = (
        (f"{total['profit']:,.2f}", f"profit, {money}"),
        (f"{total['value']:,.2f}", "for the sets sold"),
        (f"{total['cost']:,.2f}", "logs, overhead, sawing"),
        (f"{filled} of {asked}", "sets filled"),
        (f"{count['planned']} of {len(logs)}", "logs sawn"),
        (f"{total['minutes'] / 60:,.1f} h", "at the mill"),
    )
    body = [
        f"<h1>Season from {escape(document['start'])}</h1>",
        f"<p>{escape(_proof(document))}</p>",
        '<div class="facts">'
        + "".join(f"<div><b>{escape(a)}</b><span>{escape(b)}</span></div>" for a, b in facts)
        + "</div>",
        '<div class="plots">',
        *(
            f"<figure><figcaption>{title}</figcaption>{plots[name]}</figure>"
            for name, title in (
                ("value", "Value and cost by log"),
                ("orders", "Sets asked for and ready"),
                ("hours", "Hours at the mill by week"),
            )
        ),
        "</div>",
        "<h2>Orders</h2>",
        _table(
            ("order", "product", "filled", "price", "due", "last set ready", "from"),
            [_order(number, order) for number, order in enumerate(orders, 1)],
            numbers=(2, 3),
            whole=(4, 5),
        ),
        "<h2>Logs, in the order of sawing</h2>",
        _table(
            ("log", "done in week of", "hours", "value", "cost", "profit", "complete sets", "sawn for"),
            [_log(log, begins) for log in sawn],
            numbers=(2, 3, 4, 5),
            whole=(1,),
        ),
    ]
    if count["left"] or count["failed"]:
        words = {"left": "stays in the yard", "failed": "could not be planned"}
        rest = [[log["id"], words[log["state"]], log["why"] or ""] for log in logs if log["state"] != "planned"]
        body += ["<h2>Not sawn</h2>", _table(("log", "state", "why"), rest, whole=(1,))]
    body.append(f'<p class="soft">{escape(_small_print(document))}</p>')
    page = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>Season from {escape(document['start'])}</title><style>{STYLE}</style></head><body><main>"
        + "\n".join(body)
        + "</main></body></html>\n"
    )
    return page.encode()


def _proof(document: Mapping[str, Any]) -> str:
    money, profit = document["currency"], document["totals"]["profit"]
    counted = ""
    if abs(document["objective"] - profit) >= 0.005:
        counted = f" (Priorities put {document['objective'] - profit:,.2f} {money} on top of the profit when plans were compared.)"
    if document["status"] == "optimal":
        return f"Of the ways to saw that were worked out for each log, no choice earns more; that is proven.{counted}"
    return (
        "Of the ways to saw that were worked out for each log, no choice earns more than "
        f"{document['bound'] - document['objective']:,.2f} {money} ({document['gap']:.2%}) above this one; that is proven.{counted}"
    )


def _small_print(document: Mapping[str, Any]) -> str:
    text = (
        "Counted on are the sets of each log's cut script, as the scan and the card allow; what the wood hides may take some. "
        "Value counts only sets that orders take. A set is ready when the week in which its log is done has ended and it has dried. "
        "Follow the mill maker's manual and your local rules for all work at the saw."
    )
    columns = document.get("columns")
    if columns:
        text += f" {columns['kept']} ways to saw were worked out for {len(document['logs'])} logs, "
        text += f"in answer to {columns['asked']} asks (why no more: {columns['stopped']})."
        if columns.get("beyond") is not None:
            text += (
                f" No other ways to saw, of the class and grid that the cut scripts name, could bring more than {columns['beyond']:,.2f} "
                f"{document['currency']}; that figure counts plates that make no set, so it is far too high rather than too low."
            )
    return text


def _order(number: int, order: Mapping[str, Any]) -> list[str]:
    short = order["filled"] < order["quantity"]
    filled = f"{order['filled']} of {order['quantity']}"
    source = ", ".join(f"{n} from {log}" for log, n in order["from"].items())
    product = order["product"] + (" (one log)" if order.get("matched") else "")
    return [
        str(number),
        product,
        ("!" if short else "") + filled,
        f"{order['price']:,.2f}",
        order["due"] or "any time",
        order.get("ready") or "",
        source,
    ]


def _log(log: Mapping[str, Any], begins: Mapping[int, str]) -> list[str]:
    sets = ", ".join(f"{n} {name}" for name, n in log.get("sets", {}).items())
    plan = log.get("plan") or ""
    if log.get("finished"):
        plan += f"; {log['finished']}"
    return [
        log["id"],
        begins.get(log["week"], ""),
        f"{log['minutes'] / 60:.1f}",
        f"{log['value']:,.2f}",
        f"{log['cost']:,.2f}",
        f"{log['value'] - log['cost']:,.2f}",
        sets,
        plan,
    ]


def _table(
    head: tuple[str, ...], rows: Iterable[list[str]], numbers: tuple[int, ...] = (), whole: tuple[int, ...] = ()
) -> str:
    """A table that becomes cards on a phone; cells of `whole` columns are not broken, one that begins with "!" stands out."""
    out = ['<div class="table"><table><thead><tr>']
    out += [f'<th class="n">{name}</th>' if at in numbers else f"<th>{name}</th>" for at, name in enumerate(head)]
    out.append("</tr></thead><tbody>")
    for row in rows:
        out.append("<tr>")
        for at, cell in enumerate(row):
            classes = ["n"] if at in numbers else []
            classes += ["key"] if at == 0 else ["w"] if at in whole else []
            classes += ["bad"] if cell.startswith("!") else []
            classes += [] if cell else ["e"]
            shown = escape(cell.removeprefix("!"))
            out.append(f'<td class="{" ".join(classes)}" data-is="{head[at]}"><span>{shown}</span></td>')
        out.append("</tr>")
    out.append("</tbody></table></div>")
    return "".join(out)
