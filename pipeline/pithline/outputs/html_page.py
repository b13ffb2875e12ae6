"""Pages of HTML from the templates that lie beside what fills them; every text is escaped on its way in."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

ROOM = "pithline.outputs"


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader(ROOM, "."), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        keep_trailing_newline=True,
    )  # fmt: skip


def render(template: str, **values: Any) -> bytes:
    """The page of a template, by its path within `outputs`, such as "reports/season.html"."""
    return _environment().get_template(template).render(**values).encode()


def source(path: str) -> Markup:
    """A file of our own as it stands, by its path within `outputs`: a style sheet or a script."""
    return Markup(files(ROOM).joinpath(path).read_text(encoding="utf-8"))


def as_data(value: Any) -> Markup:
    """JSON that cannot end the script element it stands in."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def as_script(text: str) -> Markup:
    """Source of a script that cannot end the script element it stands in."""
    return Markup(re.sub(r"</(script)", r"<\\/\1", text, flags=re.IGNORECASE).replace("<!--", "<\\!--"))


def macro(template: str, name: str) -> Callable[..., Markup]:
    """One macro of a template, to be called with what it is filled with."""
    found: Callable[..., Markup] = getattr(_environment().get_template(template).module, name)
    return found
