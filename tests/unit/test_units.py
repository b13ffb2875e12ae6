"""Text with a unit to mm and back."""

import pytest

from pithline.errors import InputError
from pithline.units import (
    format_inches,
    format_litres,
    format_mm,
    parse_length,
    parse_rate,
    parse_volume,
    parse_weight,
)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("22 in", 558.8),
        ("12 1/2 in", 317.5),
        ("12-1/2 in", 317.5),
        ("1/16 in", 1.5875),
        ('22"', 558.8),
        ("660 mm", 660.0),
        ("660mm", 660.0),
        ("0.66 m", 660.0),
        (".66 m", 660.0),
        ("55 cm", 550.0),
        ("2 ft", 609.6),
        ("8 ft 3 in", 2514.6),
        ("8 ft 3 1/2 in", 2527.3),
        ("-3 mm", -3.0),
        ("1e2 mm", 100.0),
    ],
)
def test_lengths(text, expected):
    assert parse_length(text) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (2.5, 'kerf is 2.5 without a unit; write it as text, such as kerf = "2.5 mm".'),
        (22, 'kerf is 22 without a unit; write it as text, such as kerf = "22 mm".'),
        ("22", 'kerf is "22" without a unit; write it as "660 mm", "0.66 m" or "12 1/2 in".'),
        ("12 1/2", 'kerf is "12 1/2" without a unit; write it as "660 mm", "0.66 m" or "12 1/2 in".'),
        (True, 'kerf must be text with a unit, such as kerf = "2.5 mm".'),
        ([1], 'kerf must be text with a unit, such as kerf = "2.5 mm".'),
        ("thick", 'kerf is "thick", which is no length; write it as "660 mm", "0.66 m" or "12 1/2 in".'),
        ("1,5 m", 'kerf is "1,5 m", which is no length; write it as "660 mm", "0.66 m" or "12 1/2 in".'),
        ("3 in -2 mm", 'kerf is "3 in -2 mm", which is no length; write it as "660 mm", "0.66 m" or "12 1/2 in".'),
        ("2 yd", 'kerf is "2 yd": "yd" is no unit of length; known: mm, cm, m, in, inch, inches, ft, foot, feet.'),
        ("1/0 in", "kerf has a fraction over 0; write it as a number and a unit."),
        ("", 'kerf is empty; write it as "660 mm", "0.66 m" or "12 1/2 in".'),
        ("1e999 mm", 'kerf is "1e999 mm", which is not finite; write it as "660 mm", "0.66 m" or "12 1/2 in".'),
    ],
)
def test_what_is_no_length(value, message):
    with pytest.raises(InputError) as caught:
        parse_length(value, "kerf")
    assert str(caught.value) == message


def test_other_quantities():
    assert parse_rate("6 m/min") == 6000.0
    assert parse_rate("20 ft/min") == pytest.approx(6096.0)
    assert parse_rate("0.1 m/s") == pytest.approx(6000.0)
    assert parse_volume("0.3 L") == 3.0e5
    assert parse_volume("300 cm3") == 3.0e5
    assert parse_weight("80 kg") == 80.0
    assert parse_weight("150 lb") == pytest.approx(68.0388555)


@pytest.mark.parametrize(
    ("parse", "value", "words"),
    [
        (parse_rate, 6, "feed is 6 without a unit"),
        (parse_rate, "6", 'feed is "6" without a unit'),
        (parse_rate, "6 m", "which is no rate"),
        (parse_rate, "6 kg/min", '"kg" is no unit of rate'),
        (parse_volume, "3 kg", '"kg" is no unit of volume'),
        (parse_weight, "3 L", '"L" is no unit of weight'),
        (parse_weight, 60, 'such as weight = "60 kg"'),
    ],
)
def test_what_is_no_other_quantity(parse, value, words):
    with pytest.raises(InputError) as caught:
        parse(value)
    assert words in str(caught.value)


def test_formats():
    assert format_mm(317.46) == "317 mm"
    assert format_mm(317.46, 0.5) == "317.5 mm"
    assert format_mm(-0.2) == "0 mm"
    assert format_inches(317.5) == "12 1/2 in"
    assert format_inches(304.8) == "12 in"
    assert format_inches(25.4 / 32, 32) == "1/32 in"
    assert format_inches(25.4 / 32 * 0.4, 32) == "0 in"
    assert format_inches(-1.5, 32) == "-1/16 in"
    assert format_litres(41.26e6) == "41.3 L"
    with pytest.raises(ValueError, match="powers of two"):
        format_inches(1.0, 10)
