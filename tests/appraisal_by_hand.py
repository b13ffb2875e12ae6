"""Logs and plates simple enough to reckon by hand, for the appraisal's tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np

from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.priors import Priors, PriorSampling, read_priors
from pithline.files.products import products_from
from pithline.logmodel.card import Card
from pithline.plan.api import LogLayout, price_start
from pithline.plan.execute.grade import PlateGrade
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.yard.appraisal.appraise import shop_of
from pithline.yard.appraisal.layouts import AppraisalShop, AppraisedPlan
from pithline.yard.appraisal.log_knowledge import LogKnowledge, gather_knowledge
from pithline.yard.appraisal.regrade import Planned, planned
from pithline.yard.appraisal.terms import AppraisalTerms, Lot, Trade
from truth.logs import TrueLog
from truth.models import to_model

TODAY = date(2026, 4, 1)
ROUND = TrueLog("round", 1400.0, 250.0, taper=0.0, bark=20.0, pith_radius=15.0)
READ = {"log": {"id": "round", "species": "black walnut"}, "grain": {"spiral_deg": 0.0}}

PRODUCTS_READ = {
    "sizes": "green",
    "limits": {
        "trade": {
            "ring_angle_min_deg": 70.0,
            "ring_angle_mean_deg": 78.0,
            "runout_max_deg": 3.0,
            "sapwood": "any",
            "sapwood_edge": 0.0,
        }
    },
    "product": [
        {
            "name": "tenor ukulele",
            "price": 60.0,
            "limits": "trade",
            "part": [
                {
                    "name": "back",
                    "count": 2,
                    "length": 390.0,
                    "width": 127.0,
                    "thickness": 4.0,
                    "bookmatched": True,
                },
            ],
        }
    ],
}
PRODUCTS = products_from(PRODUCTS_READ)


def card(**changes: object) -> Card:
    """A card of a scanned log on which everything is stated."""
    whole = {
        "id": "round",
        "species": "black walnut",
        "scan": "round.ply",
        "bark_thickness": 20.0,
        "pith_radius": 15.0,
        "sapwood_thickness": 20.0,
    }
    return Card(**(whole | changes))  # type: ignore[arg-type]


def nothing_hidden(priors: Priors | None = None) -> Priors:
    """Priors by which nothing is hidden and nothing doubted."""
    return replace(
        read_priors() if priors is None else priors,
        sampling=PriorSampling(32, 9, 2, 8),
        bark_ratio=0.0,
        bark_gauged=0.0,
        pith_unmarked=0.0,
        pith_wander=0.0,
        section_shape=(0.0,),
        sweep_unseen=0.0,
        string_error=0.0,
        spiral_mean=0.0,
        spiral_sd=0.0,
        knots_per_m2=0.0,
        suspected_real=0.0,
        metal_forest=0.0,
        metal_yard=0.0,
        metal_stained=0.0,
        checks_per_end=0.0,
        rot_share=0.0,
        figure_share=0.0,
    )


def known(priors: Priors, stated: Card | None = None, read: dict | None = None, surface: float = 0.0) -> LogKnowledge:
    """What is known of the round log; `surface` is the fit's standard error of its bark, all round. [mm]"""
    stated = card(pith_butt=None, pith_top=None) if stated is None else stated
    model = to_model(ROUND)
    bark = 0.055 * stated.bark_thickness if stated.bark_thickness is not None else 0.0
    model = replace(model, stderr_radius=np.full_like(model.stderr_radius, float(np.hypot(surface, bark))))
    return gather_knowledge(model, stated, READ if read is None else read, priors, TODAY)


PASSES = PlateGrade(1.5, 1.5, 0.0, sound=True, passes=True)


def plates(near: float = 80.0, count: int = 8, starts: tuple[float, ...] = (100.0, 600.0)) -> list[Plate]:
    """Radial backs stacked about the plane z = 0, from `near` mm off the pith outwards, in billets of `count`."""
    out = []
    for billet, start in enumerate(starts):
        for layer in range(count):
            corner = np.array([start, near, (layer - count / 2) * 5.2])
            edges = (np.array([390.0, 0, 0]), np.array([0, 127.0, 0]), np.array([0, 0, 4.0]))
            name = f"plate-{billet}-{layer:02d}"
            out.append(Plate(name, 0, corner, edges, PASSES, f"billet-{billet}", layer, 390.0 * 127 * 4))
    return out


def terms(priors: Priors | None = None, **changes: object) -> AppraisalTerms:
    """The bundled mill, the one product, a quarter for the buyer."""
    read = mill_as_read()
    own = Trade(mill_from(read), PRODUCTS, read_practice(None), read, PRODUCTS_READ)
    whole = {"trade": own, "priors": priors or read_priors(), "margin": 0.25, "seed": 1, "today": TODAY}
    return AppraisalTerms(**(whole | changes))  # type: ignore[arg-type]


@cache
def trade() -> AppraisalShop:
    """What the round log is sawn with and into."""
    return shop_of(Lot("round.toml", card(), READ), terms(), known(nothing_hidden()))


def sawn(near: float = 80.0) -> AppraisedPlan:
    """The plates as a plan that takes an hour."""
    log = known(nothing_hidden()).log
    context = trade().case.context
    prices = price_start(context.economics)
    return AppraisedPlan(LogLayout(log, (), (log,), (None,)), prices, Ledger(plates=plates(near)), 60.0)


def own(near: float = 80.0) -> Planned:
    """The plates as planned."""
    return planned(Ledger(plates=plates(near)), trade().parts)
