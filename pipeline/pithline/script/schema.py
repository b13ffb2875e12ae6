"""The schemas of cut scripts, log models and seasons (JSON Schema, draft 2020-12), and validation in one sentence."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError, best_match
from referencing import Registry, Resource

from pithline.errors import ScriptError

Which = Literal["cut-script", "log-model", "season"]
_FILES: dict[str, str] = {
    "cut-script": "schema.json",
    "log-model": "log-model.schema.json",
    "season": "season.schema.json",
}
_NAMES: dict[str, str] = {"cut-script": "cut script", "log-model": "log model", "season": "season"}
_REMEDY: dict[str, str] = {
    "cut-script": "write it anew with `pithline plan`",
    "log-model": "fit the log anew with `pithline fit`",
    "season": "plan it anew with `pithline season`",
}
_LONGEST = 60


def schema_bytes(which: Which) -> bytes:
    """The schema file as it lies in the package."""
    return files("pithline.script").joinpath(_FILES[which]).read_bytes()


def validate(document: Any, which: Which = "cut-script") -> None:
    """Hold `document` against its schema.

    Raises
    ------
    ScriptError
        One sentence on the fault that lies deepest: where, what, and what to do.
    """
    fault = best_match(_validator(which).iter_errors(document))
    if fault is not None:
        raise ScriptError(f"the {_NAMES[which]} {_sentence(fault, document)}; {_REMEDY[which]}.")


@cache
def _validator(which: Which) -> Draft202012Validator:
    schemas = {name: json.loads(schema_bytes(name)) for name in _FILES}  # type: ignore[arg-type]
    registry: Registry = Registry().with_resources(
        (schema["$id"], Resource.from_contents(schema)) for schema in schemas.values()
    )
    return Draft202012Validator(schemas[which], registry=registry)


def _sentence(fault: ValidationError, document: Any) -> str:
    place = _place(fault, document)
    value = _short(fault.instance)
    rule, want = fault.validator, fault.validator_value
    if rule == "required":
        missing = next(name for name in want if name not in fault.instance)
        return f'lacks "{missing}" in {place}'
    if rule in ("additionalProperties", "unevaluatedProperties"):
        known = fault.schema.get("properties", {})
        odd = [name for name in fault.instance if name not in known]
        return f'has an unknown key "{odd[0]}" in {place}' if odd else f"has an unknown key in {place}"
    if rule == "type":
        kinds = want if isinstance(want, str) else " or ".join(want)
        return f"has {value} at {place}, where a value of type {kinds} belongs"
    if rule in ("enum", "const"):
        allowed = [want] if rule == "const" else want
        return f"has {value} at {place}, where only {', '.join(_short(one) for one in allowed)} may stand"
    return f"does not hold at {place}: {_short(fault.message, 2 * _LONGEST, plain=True)}"


def _place(fault: ValidationError, document: Any) -> str:
    """The path in words, with the id of the entry it leads through."""
    text, at, name = "", document, ""
    for key in fault.absolute_path:
        at = at[key]
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else str(key)
        if isinstance(key, int) and isinstance(at, dict) and isinstance(at.get("id"), str):
            name = f" ({at['id']})"
    return (text or "its outermost object") + name


def _short(value: Any, longest: int = _LONGEST, plain: bool = False) -> str:
    text = value if plain else json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= longest else text[: longest - 1] + "…"
