"""The 3D preview: one HTML file that holds everything and fetches nothing."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

from pithline.errors import InputError
from pithline.outputs.html_page import as_data, as_script, render, source
from pithline.outputs.preview.data import preview_data
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import PrintJob

SCENE_BUNDLE = Path("elements") / "scene" / "dist" / "index.js"
"""Where the nicegui package keeps its ES module that exports THREE and OrbitControls."""
NEEDED = ("THREE", "OrbitControls")
VIEWER = ("preview.js", "wood.js", "shapes.js", "picture.js", "start.js")
"""Our own code in the order it runs, one script together."""


def preview_html(job: PrintJob, scene: Scene) -> bytes:
    """The page of a cut script. InputError where nicegui is broken."""
    return render(
        "preview/viewer/preview.html",
        title=f"Log {job.log.script.log.id}: the cuts",
        style=source("preview/viewer/preview.css"),
        data=as_data(preview_data(job, scene)),
        library=as_script(three_source()),
        viewer=as_script("\n".join(source(f"preview/viewer/{name}") for name in VIEWER)),
    )


def three_source() -> str:
    """The installed scene bundle as an expression statement: `const scene3d = {THREE, OrbitControls, ...}`.

    Its licence notice stays at the head. An inline module cannot export, so the export list becomes an object.
    """
    package = importlib.util.find_spec("nicegui")
    folders = list(package.submodule_search_locations or []) if package else []
    path = next((Path(one) / SCENE_BUNDLE for one in folders if (Path(one) / SCENE_BUNDLE).is_file()), None)
    if path is None:
        raise InputError("the 3D library is missing from the nicegui package; install pithline again.")
    text = path.read_text(encoding="utf-8")
    listed = re.search(r"export\{([^{}]*)\};?\s*(?://# sourceMappingURL=\S*\s*)?$", text)
    names = dict(_exported(one) for one in listed[1].split(",")) if listed else {}
    if listed is None or not set(NEEDED) <= set(names):
        raise InputError("the nicegui package holds another 3D library than pithline knows; install pithline again.")
    notice = re.match(r"\s*/\*\*.*?\*/", text, re.DOTALL)
    wanted = ",".join(f"{name}:{names[name]}" for name in NEEDED)
    head = notice[0] if notice else ""
    return f"{head}\nconst scene3d=(()=>{{{text[len(head) : listed.start()]}\nreturn {{{wanted}}};}})();"


def _exported(entry: str) -> tuple[str, str]:
    """(public name, inner name) of one entry of an export list."""
    inner, _, public = entry.strip().partition(" as ")
    return public or inner, inner
