"""A key declared on the field it fills: what a file may hold, the frozen object and the docs' table follow from it."""

import math
from dataclasses import dataclass, field

import pytest

from pithline.errors import InputError
from pithline.files.read import read_toml
from pithline.keys.declared import freeze, key, key_table, known_keys, named_tables, table, tables
from pithline.keys.readers import length, number, text, whole


@dataclass(frozen=True, slots=True)
class Tooth:
    count: int = field(metadata=key("count", whole(1), "how many"))


@dataclass(frozen=True, slots=True)
class Limit:
    name: str
    angle: float = field(metadata=key("angle_deg", number(), "of the limit", freeze=math.radians))
    width: float = field(default=2.0, metadata=key("width", length(), "of the limit"))


@dataclass(frozen=True, slots=True)
class Saw:
    name: str = field(metadata=key("saw.name", text, "what it is called"))
    kerf: float = field(default=3.0, metadata=key("saw.kerf", length(), "what it turns to dust"))
    tilt: float = field(default=0.0, metadata=key("saw.tilt_deg", number(), "of the table", freeze=math.radians))
    blade: Tooth | None = field(default=None, metadata=table("blade", Tooth))
    teeth: tuple[Tooth, ...] = field(default=(), metadata=tables("tooth", Tooth))
    limits: tuple[Limit, ...] = field(default=(), metadata=named_tables("limits", Limit))
    known: bool = False  # no key of the file


FILE = """
[saw]
name = "band"
tilt_deg = 90
[blade]
count = 3
[[tooth]]
count = 1
[[tooth]]
count = 2
[limits.fine]
angle_deg = 180
"""


def read(folder, content):
    path = folder / "saw.toml"
    path.write_text(content, encoding="utf-8")
    return read_toml(path, known_keys(Saw))


def test_file_to_frozen_object(tmp_path):
    values = read(tmp_path, FILE)
    assert freeze(Saw, values) == Saw(
        "band", 3.0, math.pi / 2, Tooth(3), (Tooth(1), Tooth(2)), (Limit("fine", math.pi, 2.0),)
    )
    # as read: defaults filled in as if written, but for values that the object holds otherwise
    assert values["saw"] == {"name": "band", "tilt_deg": 90.0, "kerf": 3.0}
    assert "tilt_deg" not in read(tmp_path, '[saw]\nname = "b"\n')["saw"]
    assert freeze(Saw, values, known=True).known


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", 'the file needs the table "saw"'),
        ('[saw]\nkerf = "2 mm"', '[saw] needs the key "name"'),
        ('[saw]\nname = "b"\nkref = 1', '[saw] has no key "kref"; did you mean "kerf"?'),
        ('[saw]\nname = "b"\n[blade]\n', '[blade] needs the key "count"'),
        ('[saw]\nname = "b"\n[limits.a]\nangle = 1', '[limits.a] has no key "angle"; did you mean "angle_deg"?'),
    ],
)
def test_what_a_file_may_hold(tmp_path, content, message):
    with pytest.raises(InputError) as caught:
        read(tmp_path, content)
    assert message in str(caught.value)


def test_table_of_the_docs():
    rows = [line.split(" | ") for line in key_table(Saw).splitlines()[2:]]
    assert [(row[0].strip("| "), row[1], row[3].strip(" |")) for row in rows] == [
        ("`[saw]`", "`name`", "yes"),
        ("", "`kerf`", "no: 3"),
        ("", "`tilt_deg`", "no: 0"),
        ("`[blade]`", "`count`", "yes"),
        ("`[[tooth]]`", "`count`", "yes"),
        ("`[limits.NAME]`", "`angle_deg`", "yes"),
        ("", "`width`", "no: 2"),
    ]
