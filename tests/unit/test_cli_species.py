"""The woods, their sources, and what they do as they dry."""

import json

import pytest

from pithline.cli.main import main
from pithline.logmodel.species import SPECIES


def told(capsys, *arguments):
    assert main(["species", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_every_wood_is_listed(capsys):
    assert [one["name"] for one in told(capsys)] == [one.name for one in SPECIES.values()]
    assert main(["species"]) == 0
    shown = capsys.readouterr().out
    assert all(one.name in shown for one in SPECIES.values()) and "4.8 *" in shown


def test_walnut_at_eight_percent(capsys):
    """Worked in docs/trade.md from Wood Handbook Table 4-3."""
    found = told(capsys, "black walnut", "--to", "8")
    rows = {row["ring_angle_deg"]: row for row in found["by_ring_angle"]}
    assert rows[90.0]["width_percent"] == pytest.approx(4.033, abs=6e-4)
    assert rows[45.0]["corner_deg"] == pytest.approx(0.966, abs=6e-4)
    assert found["sources"]["green_density"]["standing"] == "second-hand"


def test_air_of_45_percent_at_20_degrees(capsys):
    for air in ("20 C", "68 F", "20°C"):
        found = told(capsys, "koa", "--air", air, "--humidity", "45")
        assert found["moisture_percent"] == pytest.approx(8.49, abs=0.03)


def test_one_wood_in_words(capsys):
    assert main(["species", "Black  Walnut"]) == 0
    words = " ".join(capsys.readouterr().out.split())
    for part in (
        "Juglans nigra",
        "Wood Handbook",
        "4.03 %",
        "quartersawn",
        "200 mm across moves 1.5 mm",
        "1 in 10 (5.7°) 81 %",
    ):
        assert part in words


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["wallnut"], 'species "wallnut" is not known; did you mean "black walnut"?'),
        (["koa", "--to", "40"], "--to is 40; wood shrinks below 30 %"),
        (["koa", "--air", "20 C"], "--air and --humidity go together"),
        (["koa", "--air", "20", "--humidity", "45"], '--air is "20"; write a temperature with its unit'),
        (["koa", "--air", "20 C", "--humidity", "145"], "--humidity between 0 and 100"),
        (["koa", "--to", "8", "--air", "20 C", "--humidity", "45"], "use one of them"),
    ],
)
def test_misuse(capsys, arguments, message):
    assert main(["species", *arguments]) == 2
    assert message in capsys.readouterr().err
