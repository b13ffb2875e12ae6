"""The files that a plan's folder holds, all made of its cut script."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from pithline.outputs.cards.shop_cards import shop_cards
from pithline.outputs.labels.label_sheets import labels_pdf
from pithline.outputs.labels.rows import labels_csv
from pithline.outputs.overview.page import overview
from pithline.outputs.print_job import PrintJob, job_of_written
from pithline.outputs.sheet.set_up_sheet import set_up_sheet
from pithline.outputs.templates.end_templates import end_templates, full_size_templates
from pithline.script.document import dumps

Progress = Callable[[str, float], None]
"""Told what is made, and the share done."""


def _silent(_what: str, _share: float) -> None:
    """Tell nobody."""


Made = Mapping[str, bytes]
Begin = Callable[..., Callable[[], Made]]
"""Begins a piece of work with what it is about; what is returned waits for what it gives."""


def _in_turn(work: Callable[..., Made], *about: object) -> Callable[[], Made]:
    """Work done when what it gives is asked for."""
    return partial(work, *about)


def plan_files(
    script: Mapping[str, Any], units: str = "mm", paper: str = "A4", begin: Begin = _in_turn
) -> dict[str, bytes]:
    """Every file of a plan's folder by name, the cut script itself included.

    Parameters
    ----------
    script : mapping
        The cut script as JSON has it.
    units, paper : str
        "mm" or "in"; "A4" or "Letter".
    begin : callable
        May let another process make some of them meanwhile.

    Raises
    ------
    ScriptError
        Where a part of the script is missing or misshapen.
    """
    return files_begun(script, units, paper, begin)()


def files_begun(
    script: Mapping[str, Any], units: str = "mm", paper: str = "A4", begin: Begin = _in_turn
) -> Callable[[], dict[str, bytes]]:
    """As `plan_files`, with what another process makes begun at once, the rest made when it is asked for."""
    written = dumps(dict(script))
    meanwhile = begin(_made_meanwhile, written, units, paper)

    def files() -> dict[str, bytes]:
        # of the figures as written, so that a page printed later is the same
        job = job_of_written(written, units, paper)
        made = {name: make(job) for name, make in PRINTED.items() if name not in ELSEWHERE}
        made |= meanwhile()
        return {name: written if name == SCRIPT else made[name] for name in (SCRIPT, *PRINTED, *PREVIEWS)}

    return files


def _made_meanwhile(written: bytes, units: str, paper: str) -> dict[str, bytes]:
    """About half of the work of all files: labels, templates and previews."""
    # what draws takes a second to load, and where there is another process it alone needs it
    from pithline.outputs.preview.files import preview_files

    job = job_of_written(written, units, paper)
    return {**{name: PRINTED[name](job) for name in ELSEWHERE}, **preview_files(job)}


PRINTED: dict[str, Callable[[PrintJob], bytes]] = {
    "set-up-sheet.pdf": set_up_sheet,
    "shop-cards.pdf": shop_cards,
    "overview.pdf": overview,
    "end-templates.pdf": end_templates,
    "end-templates-full-size.pdf": full_size_templates,
    "labels.pdf": labels_pdf,
    "labels.csv": labels_csv,
}
"""What is printed, by file name."""
PREVIEWS = ("preview.html", "preview.png", "plan.glb")
"""What is looked at, by file name."""
DRAWING = ("pithline.outputs.plan_folder", "pithline.outputs.preview.files")
"""Modules that draw; what these load takes longest."""
ELSEWHERE = ("end-templates.pdf", "end-templates-full-size.pdf", "labels.pdf")
"""What another process prints, where there is one."""
SCRIPT = "cut-script.json"
"""What all of it is made of."""


def sheet_files(job: PrintJob, progress: Progress = _silent) -> dict[str, bytes]:
    """What is printed: sheet, cards, overview, templates and labels, by file name."""
    files = {}
    for place, (name, make) in enumerate(PRINTED.items()):
        progress(name, place / len(PRINTED))
        files[name] = make(job)
    return files
