"""Cut scripts as bytes, and crayon marks."""

import pytest

from pithline.errors import ScriptError
from pithline.script.document import crayon_marks, dumps, loads


def test_bytes_round_trip_in_the_order_given():
    assert dumps({"b": 0.12345678, "a": [-0.0, 2]}) == b'{"b":0.123457,"a":[0.0,2]}\n'
    assert loads(dumps({"b": 1.5, "a": None})) == {"b": 1.5, "a": None}


def test_not_finite_or_not_json_is_an_error():
    with pytest.raises(ScriptError, match="not finite"):
        dumps({"a": float("nan")})
    with pytest.raises(ScriptError, match="not JSON"):
        loads(b"{")
    with pytest.raises(ScriptError, match="one JSON object"):
        loads(b"[]")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"[" * 100_000 + b"]" * 100_000, "nested too deeply"),
        (b'{"a":1' + b"0" * 400 + b"}", "of 401 digits"),
        (b'{"a":1e400}', "the number 1e400, which is none or too great"),
        (b'{"a":NaN}', "the number NaN"),
        (b'{"a":' + b"9" * 5000 + b"}", "of 5000 digits"),
    ],
)
def test_what_cannot_be_reckoned_with_is_one_sentence(data, words):
    with pytest.raises(ScriptError, match=words):
        loads(data)


def test_marks_are_short_unique_and_unmistakable():
    kinds = ["log", "slab", "half", "bolt", "billet", "plate", "offcut"]
    marks = crayon_marks([{"id": f"{kind}{n}", "kind": kind} for kind in kinds for n in range(700)])
    assert len(set(marks.values())) == len(marks) == 4900
    assert all(len(mark) <= 5 and not set(mark) & set("0O1I") for mark in marks.values())
