"""A whole plan of one small perfect log, quick enough to make several times; run as a program it prints the script's hash."""

import hashlib
import tempfile
from dataclasses import replace
from pathlib import Path

from pithline.files.cards import card_as_read, card_from
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.products import products_as_read, products_from
from pithline.plan.api import COARSE
from pithline.script.document import dumps
from pithline.yard.one_log import plan_model
from pithline.yard.request import Inputs, Request
from truth.logs import TrueLog, Wave
from truth.models import to_model

TRUTH = TrueLog(
    "small",
    820.0,
    160.0,
    waves=(Wave(2, 3.0, 0.4), Wave(3, 1.5, 2.0)),
    sweep=3.0,
    bark=9.0,
    pith_butt=(6.0, -4.0),
    pith_top=(4.0, -7.0),
    butt_tilt=(0.03, 0.01),
)
CARD = """[log]
id = "small"
species = "black walnut"
[ends]
trim_butt = "25 mm"
trim_top = "25 mm"
[bark]
thickness = "9 mm"
[pith]
radius = "15 mm"
butt = { xyz = [0, 0, 0] }
top = { xyz = [0, 0, 0] }
"""
PRODUCTS = """[limits.trade]
ring_angle_min_deg = 70
ring_angle_mean_deg = 78
runout_max_deg = 3
[[product]]
name = "ukulele"
price = 60
[[product.part]]
name = "back"
count = 2
length = "390 mm"
width = "120 mm"
thickness = "4 mm"
"""


def inputs_of(products=PRODUCTS, card=CARD):
    """Inputs as they are read from files; there is no scan, so hashes stand for none."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in (("w.toml", card), ("p.toml", products)):
            Path(folder, name).write_text(text, encoding="utf-8")
        card_read = card_as_read(Path(folder, "w.toml"))
        products_read = products_as_read(Path(folder, "p.toml"))
    mill_read = mill_as_read(None)
    read = (card_from(card_read), mill_from(mill_read), products_from(products_read), read_practice(None))
    return Inputs(*read, card_read, mill_read, products_read, "0" * 64, "0" * 64)


QUICK = replace(COARSE, rolls=6, along_step=40.0, firsts=1)
"""Searches more coarsely than any command does."""


def small_plan(truth=TRUTH, request=None, **more):
    """The script of one plan, searched more coarsely than any command does."""
    return plan_model(to_model(truth), inputs_of(**more), request or Request(effort=QUICK)).script


if __name__ == "__main__":
    print(hashlib.sha256(dumps(small_plan())).hexdigest())
