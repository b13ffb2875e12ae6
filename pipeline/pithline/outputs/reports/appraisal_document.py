"""The appraisal as bytes: JSON held against its schema, and CSV."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from jsonschema_rs import Draft202012Validator

from pithline.errors import ScriptError
from pithline.script.schema import gravest
from pithline.units import MM3_PER_LITRE

M3 = 1.0e9
"""mm³ to a cubic metre."""
RULES = {"doyle": "Doyle", "international_quarter": "International ¼ in", "scribner": "Scribner"}
"""Log rules as the trade says them."""


def appraisal_schema_bytes() -> bytes:
    """The schema file as it lies in the package."""
    return files("pithline.outputs").joinpath("reports/appraisal.schema.json").read_bytes()


@cache
def _validator() -> Draft202012Validator:
    return Draft202012Validator(json.loads(appraisal_schema_bytes()), offline=True)


def check_appraisal(document: Mapping[str, Any]) -> None:
    """Hold an appraisal against its schema.

    Raises
    ------
    ScriptError
        One sentence on the gravest fault.
    """
    fault = gravest(_validator(), document)
    if fault is not None:
        place = ".".join(str(key) for key in fault.instance_path) or "its outermost object"
        raise ScriptError(f"the appraisal does not hold at {place}: {fault.message[:200]}; write it anew.")


def appraisal_json(document: Mapping[str, Any]) -> bytes:
    """The document as JSON, checked before it is written; volumes mm³, lengths mm, money in its currency."""
    text = json.dumps(rounded(document), indent=2, ensure_ascii=False, allow_nan=False)
    check_appraisal(json.loads(text))
    return (text + "\n").encode()


def rounded(value: Any) -> Any:
    """Plain numbers, none with more digits than it can stand for."""
    if isinstance(value, Mapping):
        return {key: rounded(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(one) for one in value]
    if isinstance(value, bool) or not hasattr(value, "__float__"):
        return value
    if isinstance(value, int):
        return value
    return round(float(value), 0 if abs(float(value)) > 1e5 else 4)


COLUMNS = (
    "rank", "id", "state", "basis", "species", "length_mm", "diameter_small_end_mm", "volume_p10_L", "volume_p50_L",
    "volume_p90_L", "sets", "value_p10", "value_p50", "value_p90", "value_mean", "highest_bid", "asked", "rest_value",
    "other_buyer", "scaled_inches", "scaled_feet", "crosscuts_mm", "minutes", "doyle_bf", "international_quarter_bf", "scribner_bf",
    "bid_per_doyle_bf", "bid_per_international_quarter_bf", "bid_per_scribner_bf", "cubic_m3", "green_weight_kg", "spoilers",
    "worth_finding_out", "why",
)  # fmt: skip


def appraisal_csv(document: Mapping[str, Any]) -> bytes:
    """One row a log, best buy first; the same figures as the JSON."""
    out = io.StringIO(newline="")
    rows = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    rows.writeheader()
    for log in document["logs"]:
        rows.writerow(csv_row(log))
    return out.getvalue().encode()


def csv_row(log: Mapping[str, Any]) -> dict[str, Any]:
    """One log's cells; a log that failed has its reason alone."""
    row: dict[str, Any] = dict.fromkeys(COLUMNS, "")
    row |= {name: "" if log.get(name) is None else log[name] for name in ("rank", "id", "state", "why", "asked")}
    if log["state"] == "failed":
        return row
    scaled, per_foot = log["scaled"], log["bid_per_board_foot"]
    row |= {
        "basis": log["basis"],
        "species": log["species"],
        "length_mm": f"{log['length']:.0f}",
        "diameter_small_end_mm": f"{log['diameter_small_end']:.0f}",
        "sets": sets_in_words(log),
        "value_mean": f"{log['value']['mean']:.0f}",
        "highest_bid": f"{log['highest_bid']:.0f}",
        "rest_value": f"{log['rest_value']:.0f}",
        "crosscuts_mm": " ".join(f"{place:.0f}" for place in log["crosscuts"]),
        "minutes": f"{log['minutes']:.0f}",
        "other_buyer": f"{log['other_buyer']['gives']:.0f}",
        "scaled_inches": scaled["inches"],
        "scaled_feet": scaled["feet"],
        **{f"{rule}_bf": feet for rule, feet in scaled["board_feet"].items()},
        **{f"bid_per_{rule}_bf": "" if one is None else f"{one:.2f}" for rule, one in per_foot.items()},
        "cubic_m3": f"{log['cubic_volume'] / M3:.3f}",
        "green_weight_kg": f"{log['green_weight_kg']:.0f}",
        "spoilers": "; ".join(log["spoilers"]),
        "worth_finding_out": "; ".join(f"{one['what']} {one['worth']:.0f}" for one in log["worth_finding_out"]),
    }
    for key in ("p10", "p50", "p90"):
        row[f"volume_{key}_L"] = f"{log['volume'][key] / MM3_PER_LITRE:.1f}"
        row[f"value_{key}"] = f"{log['value'][key]:.0f}"
    return row


NO_CURRENCY = "money"
"""What the bundled priors call a currency that nobody has named."""


def in_currency(name: str) -> str:
    """A sentence on the currency, or nothing where nobody has named one."""
    return "" if name == NO_CURRENCY else f"Money in {name}. "


def sets_in_words(log: Mapping[str, Any], least: float = 0.05) -> str:
    """Complete sets expected, by product, with p10 to p90."""
    found = [f"{one['mean']:.1f} {name} ({span(one)})" for name, one in log["sets"].items() if one["mean"] >= least]
    return ", ".join(found) or "none"


def span(one: Mapping[str, float], unit: float = 1.0, places: int = 0) -> str:
    """p10 to p90, or the one figure that both are."""
    low, high = (f"{one[key] / unit:.{places}f}" for key in ("p10", "p90"))
    return low if low == high else f"{low} to {high}"
