"""From the JSON of a cut script to its frozen classes: the one reading of it for all pages.

The replay has a reading of its own, so that it proves something; see `pithline.script`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pithline.errors import InputError
from pithline.logmodel.card import PITH_RADIUS
from pithline.logmodel.document import model_from_json
from pithline.outputs.cut_script.document import (
    Check,
    CutScript,
    Doubts,
    EndMarks,
    HeightRoom,
    Kind,
    LikelySpan,
    LimitFacts,
    LogFacts,
    MillFacts,
    PracticeTotals,
    ProductFacts,
    Replan,
    Rung,
    Saw,
    ScriptAgainst,
    ScriptCut,
    ScriptInputs,
    ScriptLift,
    ScriptMark,
    ScriptPiece,
    ScriptPlate,
    ScriptSetting,
    Totals,
    WoodStage,
)
from pithline.outputs.cut_script.json_table import JsonTable, vector_of

LEAST_PITH_RADIUS = 1.0
"""A pith circle of nothing still shows where the pith is. [mm]"""


def read_cut_script(document: Mapping[str, Any]) -> CutScript:
    """A cut script as frozen classes; keys that older scripts lack are `None` or empty.

    Raises
    ------
    ScriptError
        One sentence: which part is missing or misshapen.
    """
    whole = JsonTable(document, "the script")
    return CutScript(
        log=_log(whole.table("log")),
        model=_model(whole),
        coverage=whole.table("model").number_or("coverage", 1.0),
        inputs=_inputs(whole.table("inputs")),
        operations=tuple(_operation(one) for one in whole.rows("operations")),
        pieces=tuple(_piece(one) for one in whole.rows("pieces")),
        plates=tuple(_plate(one) for one in whole.rows("plates")),
        totals=_totals(whole.table("totals")),
        practice=whole.maybe("practice", _practice),
        doubts=_doubts(whole.table("uncertainty")),
        rungs=_rungs(whole.table("proof")),
        cautions=whole.texts("cautions"),
        replan=whole.maybe("replan", _replan),
        raw=document,
    )


def read_totals(totals: Mapping[str, Any]) -> Totals:
    """The sums of a plan, of the customary way, or of one row of the ladder, as the script has them."""
    return _totals(JsonTable(totals, "totals"))


def read_products(products: Mapping[str, Any]) -> ProductFacts:
    """What is wanted, as the script's `inputs` has it."""
    return _products(JsonTable(products, "inputs.products"))


def _model(whole: JsonTable) -> Any:
    try:
        return model_from_json(dict(whole.table("model").values))
    except InputError as error:
        raise whole.fault("model", f"has no whole log model ({error})") from error


def _log(log: JsonTable) -> LogFacts:
    return LogFacts(
        id=log.text("id"),
        species=log.text_or_none("species") or "",
        length=log.number("length"),
        diameter_butt=log.number("diameter_butt"),
        diameter_top=log.number("diameter_top"),
        volume=log.number("volume"),
        sweep=log.number_or("sweep", 0.0),
    )


def _inputs(inputs: JsonTable) -> ScriptInputs:
    """Card, mill and products; the card's pith circle where it states one, else the plan's own."""
    card, mill = inputs.table("card"), inputs.table("mill").table("mill")
    radius = card.table("pith").number_or("radius", PITH_RADIUS)
    limits = inputs.table("products").table("limits")
    return ScriptInputs(
        pith_radius=max(radius, LEAST_PITH_RADIUS),
        sapwood=card.table("sapwood").number_or("thickness", 0.0),
        mill=MillFacts(
            name=mill.text_or_none("name") or "",
            kerf=mill.number_or("kerf", 0.0),
            scale_reads=mill.text_or_none("scale_reads") or "centre",
            bunks=mill.numbers("bunks"),
            hour_rate=mill.number_or("hour_rate", 0.0),
            cradles=mill.numbers("cradles_deg"),
            band_saw_cradles=inputs.table("mill").table("resaw").numbers("cradles_deg"),
        ),
        limits={name: _limits(name, limits.table(name)) for name in limits.values},
        products=_products(inputs.table("products")),
        log_cost=card.table("log").number_or_none("cost"),
    )


def _products(products: JsonTable) -> ProductFacts:
    counts = {
        product.text("name"): sum(part.count_or_none("count") or 1 for part in product.rows("part"))
        for product in products.rows("product")
    }
    return ProductFacts(counts, products.text_or_none("currency") or "")


def _limits(name: str, limits: JsonTable) -> LimitFacts:
    return LimitFacts(
        name,
        limits.number_or_none("ring_angle_min_deg"),
        limits.number_or_none("ring_angle_mean_deg"),
        limits.number_or_none("runout_max_deg"),
        limits.number_or_none("ring_angle_max_deg"),
        limits.number_or_none("slope_max_deg"),
    )


def _operation(one: JsonTable) -> ScriptSetting | ScriptCut:
    return _setting(one) if one.text("op") == "setting" else _cut(one)


def _setting(one: JsonTable) -> ScriptSetting:
    return ScriptSetting(
        id=one.text("id"),
        tool=one.one_of("tool", Saw),
        piece=one.text("piece"),
        stage=one.one_of("stage", WoodStage) if "stage" in one.values else WoodStage.GREEN,
        weight=one.number("weight_kg"),
        minutes=one.number("minutes"),
        charged=bool(one.value("charged")),
        checks=tuple(_check(row) for row in one.rows("checks")),
        cautions=one.texts("cautions"),
        up=one.vector("up") if one.values.get("up") is not None else None,
        roll=one.number_or_none("roll"),
        butt_at=one.number_or("butt_at", 0.0),
        lifts=tuple(ScriptLift(row.number("bunk"), row.number("lift")) for row in one.rows("lifts")),
        marks=one.maybe("marks", lambda marks: EndMarks(_mark(marks.table("butt")), _mark(marks.table("top")))),
        mark_room=one.maybe("mark_room", lambda room: HeightRoom(room.number("down"), room.number("up"))),
        against=one.maybe("against", lambda face: ScriptAgainst(face.text("face"), face.number("angle_deg"))),
        support=one.text_or_none("support") or "",
        set_up=one.text_or_none("set_up") or "",
    )


def _mark(mark: JsonTable) -> ScriptMark:
    return ScriptMark(mark.text("name"), mark.vector("point"), mark.number("height"))


def _check(check: JsonTable) -> Check:
    return Check(
        check.text("what"), check.number("value"), check.number("limit"), bool(check.values.get("clearance_run", False))
    )


def _cut(one: JsonTable) -> ScriptCut:
    return ScriptCut(
        id=one.text("id"),
        tool=one.one_of("tool", Saw),
        setting=one.text("setting"),
        piece=one.text("piece"),
        normal=one.vector("normal"),
        offset=one.number("offset"),
        kerf=one.number("kerf"),
        above=one.text("above"),
        below=one.text("below"),
        blade_height=one.number_or_none("blade_height"),
        from_mark=one.number_or_none("from_mark"),
        width=one.number_or_none("width"),
    )


def _piece(one: JsonTable) -> ScriptPiece:
    name = one.text("id")
    return ScriptPiece(
        id=name,
        mark=one.text_or_none("mark") or name,
        kind=one.one_of("kind", Kind),
        made_by=one.text_or_none("made_by"),
        volume=one.number("volume"),
    )


def _plate(one: JsonTable) -> ScriptPlate:
    ring, edges = one.table("ring_angle"), one.value("edges")
    if not isinstance(edges, Sequence) or len(edges) != 3:
        raise one.fault("edges", "has no three vectors for {key}")
    box = np.array([vector_of(one, "edges", edge) for edge in edges])
    box.setflags(write=False)
    return ScriptPlate(
        id=one.text("id"),
        product=one.text("product"),
        part=one.text("part"),
        set_id=one.text_or_none("set_id"),
        mate=one.text_or_none("mate"),
        corner=one.vector("corner"),
        edges=box,
        volume=one.number("volume"),
        ring_least=ring.number("min"),
        ring_mean=ring.number("mean"),
        runout=one.number("runout"),
        limits=one.text("limits"),
        passes=bool(one.value("passes")),
        slope=one.number_or_none("slope"),
        sapwood=one.number_or_none("sapwood"),
        figure=one.number_or_none("figure"),
    )


def _totals(totals: JsonTable) -> Totals:
    return Totals(
        instrument_volume=totals.number("instrument_volume"),
        sets=_counts(totals.table("sets")),
        minutes=totals.number("minutes"),
        settings=int(totals.number("settings")),
        value=totals.number_or("value", 0.0),
        plates=totals.count_or_none("plates"),
        log_volume=totals.number_or_none("log_volume"),
        kerf_volume=totals.number_or_none("kerf_volume"),
        offcut_volume=totals.number_or_none("offcut_volume"),
        set_volume=totals.number_or_none("set_volume"),
        loose_volume=totals.number_or_none("loose_volume"),
        loose_value=totals.number_or_none("loose_value"),
        labour=totals.number_or_none("labour"),
        earnings=totals.number_or_none("earnings"),
        set_ups=totals.count_or_none("set_ups"),
    )


def _counts(table: JsonTable) -> dict[str, int]:
    return {name: int(table.number(name)) for name in table.values}


def _practice(practice: JsonTable) -> PracticeTotals | None:
    best = practice.maybe("with_bolts", _totals)
    if best is None:
        return None
    return PracticeTotals(
        practice.maybe("slabs", _totals) or best,
        best,
        practice.number_or_none("ratio"),
        practice.number_or_none("volume_ratio"),
    )


def _doubts(doubts: JsonTable) -> Doubts:
    costs, sets = doubts.table("cost_of"), doubts.table("sets")
    return Doubts(
        pith_assumed=bool(doubts.values.get("pith_assumed", False)),
        bark_assumed=bool(doubts.values.get("bark_assumed", False)),
        instrument_volume=doubts.maybe("instrument_volume", _span),
        earnings=doubts.maybe("earnings", _span),
        sets={name: _span(sets.table(name)) for name in sets.values},
        cost_of={name: costs.number(name) for name in costs.values if costs.values[name] is not None},
    )


def _span(span: JsonTable) -> LikelySpan:
    return LikelySpan(span.number("p10"), span.number("p50"), span.number("p90"))


def _rungs(proof: JsonTable) -> tuple[Rung, ...]:
    """The ladder of plans; of older scripts the trade-off, whose last row, of any number of settings, is the plan itself."""
    ladder = proof.rows("ladder")
    if ladder:
        return tuple(
            Rung(
                row.text_or_none("title") or "",
                bool(row.values.get("chosen", False)),
                _totals(row),
                row.maybe("practice", _totals),
                row.number_or_none("likely_earnings"),
            )
            for row in ladder
        )
    rows = proof.rows("trade_off")
    asked = [row.count_or_none("max_settings") for row in rows]
    return tuple(
        Rung("" if most is None else f"at most {most} settings", most is None, _totals(row))
        for row, most in zip(rows, asked, strict=True)
    )


def _replan(replan: JsonTable) -> Replan:
    return Replan(
        after=replan.text("after"),
        kept=frozenset(replan.texts("kept")),
        changed=replan.texts("changed"),
        relabelled=frozenset(replan.texts("relabelled")),
        drawn=frozenset(replan.texts("drawn")),
    )
