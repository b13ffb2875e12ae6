"""The schemas of cut scripts, log models and seasons (JSON Schema, draft 2020-12), and validation in one sentence."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from jsonschema_rs import Draft202012Validator, Registry, ValidationError, ValidationErrorKind

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
        One sentence on the gravest fault: where, what, and what to do.
    """
    fault = gravest(_validator(which), document)
    if fault is not None:
        raise ScriptError(f"the {_NAMES[which]} {_sentence(fault, document)}; {_REMEDY[which]}.")


def gravest(validator: Draft202012Validator, document: Any) -> ValidationError | None:
    """The fault that lies outermost in `document`, the first of several; None where it keeps its schema.

    Of alternatives none of which holds, it is the one fault that lies deepest: in the alternative that was meant.
    """
    fault = min(validator.iter_errors(document), key=_depth, default=None)
    while fault is not None and isinstance(fault.kind, ValidationErrorKind.AnyOf | ValidationErrorKind.OneOfNotValid):
        inner = sorted((one for each in fault.kind.context for one in each), key=_depth, reverse=True)
        if not inner or (len(inner) > 1 and _depth(inner[0]) == _depth(inner[1])):
            return fault
        fault = inner[0]
    return fault


def _depth(fault: ValidationError) -> int:
    return len(fault.instance_path)


@cache
def _validator(which: Which) -> Draft202012Validator:
    schemas = {name: json.loads(schema_bytes(name)) for name in _FILES}  # type: ignore[arg-type]
    registry = Registry((schema["$id"], schema) for schema in schemas.values())
    return Draft202012Validator(schemas[which], registry=registry, offline=True)


def _sentence(fault: ValidationError, document: Any) -> str:
    place = _place(fault, document)
    value = _short(fault.instance)
    match fault.kind:
        case ValidationErrorKind.Required(property=missing):
            return f'lacks "{missing}" in {place}'
        case ValidationErrorKind.AdditionalProperties(unexpected=odd):
            return f'has an unknown key "{odd[0]}" in {place}'
        case ValidationErrorKind.Type(types=kinds):
            return f"has {value} at {place}, where a value of type {' or '.join(kinds)} belongs"
        case ValidationErrorKind.Enum(options=allowed):
            return f"has {value} at {place}, where only {', '.join(_short(one) for one in allowed)} may stand"
        case ValidationErrorKind.Constant(expected_value=only):
            return f"has {value} at {place}, where only {_short(only)} may stand"
    return f"does not hold at {place}: {_short(fault.message, 2 * _LONGEST, plain=True)}"


def _place(fault: ValidationError, document: Any) -> str:
    """The path in words, with the id of the entry it leads through."""
    text, at, name = "", document, ""
    for key in fault.instance_path:
        at = at[key]
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else str(key)
        if isinstance(key, int) and isinstance(at, dict) and isinstance(at.get("id"), str):
            name = f" ({at['id']})"
    return (text or "its outermost object") + name


def _short(value: Any, longest: int = _LONGEST, plain: bool = False) -> str:
    text = value if plain else json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= longest else text[: longest - 1] + "…"
