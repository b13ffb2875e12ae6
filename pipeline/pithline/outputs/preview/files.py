"""What of a plan is looked at: page, picture and solids."""

from __future__ import annotations

from collections.abc import Callable

from pithline.outputs.preview.glb import plan_glb
from pithline.outputs.preview.page import preview_html
from pithline.outputs.preview.picture import preview_png
from pithline.outputs.preview.scene import Scene
from pithline.outputs.print_job import PrintJob


def preview_files(
    job: PrintJob, progress: Callable[[str, float], None] = lambda _what, _share: None
) -> dict[str, bytes]:
    """What is looked at: page, picture and solids, by file name."""
    progress("3D preview", 0.0)
    scene = Scene(job.log)
    files = {"preview.html": preview_html(job, scene)}
    progress("picture", 0.4)
    files["preview.png"] = preview_png(scene, job.fmt)
    progress("solids", 0.8)
    files["plan.glb"] = plan_glb(scene)
    return files
