"""The 3D preview: one HTML file that holds everything and fetches nothing."""

from __future__ import annotations

import importlib.util
import json
import re
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.outputs.preview_data import preview_data
from pithline.outputs.scene import Scene, scene_of

SCENE_BUNDLE = Path("elements") / "scene" / "dist" / "index.js"
"""Where the nicegui package keeps its ES module that exports THREE and OrbitControls."""
VIEWER = ("preview.js", "wood.js", "shapes.js", "picture.js", "start.js")
"""Our own code in the order it runs, one script together."""


def preview_html(script: Mapping[str, Any] | Scene, units: str = "mm") -> bytes:
    """The page for a cut script; `units` ("mm" or "in") of the figures shown. InputError where nicegui is broken."""
    data = preview_data(scene_of(script), units)
    viewer = resources.files("pithline.outputs") / "viewer"
    text = {name: (viewer / name).read_text(encoding="utf-8") for name in ("preview.html", "preview.css", *VIEWER)}
    parts = {
        "STYLE": text["preview.css"],
        "DATA": as_data(data),
        "THREE": as_script(three_source()),
        "VIEWER": as_script("\n".join(text[name] for name in VIEWER)),
        "TITLE": as_text(f"Log {data['log']['id']}: the cuts"),
    }
    return re.sub(r"<!--(\w+)-->|/\*(\w+)\*/", lambda m: parts[m[1] or m[2]], text["preview.html"]).encode()


def three_source() -> str:
    """The installed scene bundle as an expression statement: `const scene3d = {THREE, OrbitControls, ...}`.

    Its licence notice stays at the head. An inline module cannot export, so the export list becomes an object.
    """
    package = importlib.util.find_spec("nicegui")
    folders = list(package.submodule_search_locations or []) if package else []
    path = next((Path(one) / SCENE_BUNDLE for one in folders if (Path(one) / SCENE_BUNDLE).is_file()), None)
    if path is None:
        raise InputError("the 3D library is missing from the nicegui package; install pithline again.")
    source = path.read_text(encoding="utf-8")
    listed = re.search(r"export\{([^{}]*)\};?\s*(?://# sourceMappingURL=\S*\s*)?$", source)
    names = dict(_exported(one) for one in listed[1].split(",")) if listed else {}
    if not {"THREE", "OrbitControls"} <= set(names):
        raise InputError("the nicegui package holds another 3D library than pithline knows; install pithline again.")
    notice = re.match(r"\s*/\*\*.*?\*/", source, re.DOTALL)
    wanted = ",".join(f"{name}:{names[name]}" for name in ("THREE", "OrbitControls"))
    head = notice[0] if notice else ""
    return f"{head}\nconst scene3d=(()=>{{{source[len(head) : listed.start()]}\nreturn {{{wanted}}};}})();"


def _exported(entry: str) -> tuple[str, str]:
    """(public name, inner name) of one entry of an export list."""
    inner, _, public = entry.strip().partition(" as ")
    return public or inner, inner


def as_data(value: Any) -> str:
    """JSON that cannot end the script element it stands in."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def as_script(source: str) -> str:
    """Source that cannot end the script element it stands in."""
    return re.sub(r"</(script)", r"<\\/\1", source, flags=re.IGNORECASE).replace("<!--", "<\\!--")


def as_text(text: str) -> str:
    """Text with nothing a browser could take for markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
