"""The schemas: what they take, what they refuse, in which words; the copies in docs/."""

import copy
import json
from pathlib import Path

import pytest
from jsonschema_rs import meta

from pithline.errors import ScriptError
from pithline.script.schema import schema_bytes, validate
from unit.scripts_by_hand import whole_script

DOCS = Path(__file__).resolve().parents[2] / "docs" / "schemas"
SCRIPT = whole_script()


@pytest.mark.parametrize("which", ["cut-script", "log-model"])
def test_the_copy_in_docs_is_the_schema_of_the_package(which):
    assert (DOCS / f"{which}.schema.json").read_bytes() == schema_bytes(which)


def test_a_whole_script_and_its_model_are_taken():
    validate(SCRIPT)
    validate(SCRIPT["model"], "log-model")


def test_extra_keys_are_taken_where_the_format_has_room():
    document = copy.deepcopy(SCRIPT)
    document["inputs"]["weather"] = "dry"
    document["uncertainty"]["samples"] = 3
    document["proof"]["seed"] = 1
    document["operations"][0]["grip"] = "dogs"
    document["operations"][0]["checks"] = [{"what": "throat", "value": 1.0, "limit": 2.0, "side": "operator"}]
    document["model"]["pith_assumed"] = True
    validate(document)


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("totals",), None, 'lacks "totals" in its outermost object'),
        (("weather",), "dry", 'unknown key "weather" in its outermost object'),
        (("totals", "plates"), 1.5, "has 1.5 at totals.plates, where a value of type integer belongs"),
        (("totals", "weather"), 1, 'unknown key "weather" in totals'),
        (("version",), 2, "has 2 at version, where only 1 may stand"),
        (("operations", 1, "kerf"), "2 mm", 'has "2 mm" at operations[1].kerf (c1), where a value of type number'),
        (("operations", 1, "blade_height"), None, 'lacks "blade_height" in operations[1] (c1)'),
        (("operations", 0, "marks"), None, 'lacks "marks" in operations[0] (s1)'),
        (("operations", 3, "against"), None, 'lacks "against" in operations[3] (s2)'),
        (
            ("operations", 3, "against"),
            {"face": 5, "angle_deg": 90},
            "has 5 at operations[3].against.face (s2), where a value of type",
        ),
        (
            ("operations", 3, "against"),
            "slab",
            'does not hold at operations[3].against (s2): "slab" is not valid under any',
        ),
        (("pieces", 1, "mark"), "O1", "does not hold at pieces[1].mark (h1)"),
        (("plates", 0, "limits"), 5, "has 5 at plates[0].limits (p1), where a value of type string belongs"),
        (("model", "stations", 0, "centre"), [0.0], "does not hold at model.stations[0].centre"),
    ],
)
def test_a_breach_is_one_sentence_with_its_place(path, value, words):
    document = copy.deepcopy(SCRIPT)
    at = document
    for key in path[:-1]:
        at = at[key]
    if value is None:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    with pytest.raises(ScriptError) as caught:
        validate(document)
    told = str(caught.value)
    assert words in told and told.startswith("the cut script ") and "\n" not in told
    assert told.endswith("write it anew with `pithline plan`.")


@pytest.mark.parametrize("which", ["cut-script", "log-model"])
def test_what_is_no_object_is_refused(which):
    with pytest.raises(ScriptError, match="its outermost object"):
        validate([], which)


@pytest.mark.parametrize("which", ["cut-script", "log-model"])
def test_the_schemas_keep_their_own_draft(which):
    meta.validate(json.loads(schema_bytes(which)))
