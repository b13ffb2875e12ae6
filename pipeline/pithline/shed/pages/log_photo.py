"""The pith of an end from its photograph: sent, found by the command pith, looked at, and taken onto the card."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

from pithline.shed.card_edit import with_keys
from pithline.shed.pages.log_desk import LogDesk, told
from pithline.shed.parts import Tag, button, chosen

LEAST_ERROR = 1.0
"""No mark read off a photograph is better than this. [mm]"""


def photo_of(desk: LogDesk, end: str) -> None:
    """Where a photograph of an end is sent, and what was found in it."""
    job = desk.shed.jobs.state("photo", desk.name)
    mine = job if job is not None and job.asked.get("end") == end else None
    found = photo_found(desk, end)
    with Tag("details", **chosen("open", bool(mine or found))):
        Tag("summary", f"By a photograph of the {end} end")
        Tag("p", "The whole face, faced squarely, the 12 o'clock line upright.", "faint")
        with Tag("div", look="row"):
            with Tag("div", look="field"):
                Tag(
                    "label",
                    f"{end.capitalize()} end: breadth over bark, level through the widest part",
                    for_=f"across-{end}",
                )
                Tag("input", id=f"across-{end}", placeholder="486 mm, 19 in", autocomplete="off")
            with Tag("div", look="field"):
                Tag("label", f"Photograph of the {end} end", for_=f"photo-{end}")
                Tag(
                    "input",
                    id=f"photo-{end}",
                    type="file",
                    accept="image/jpeg,image/png",
                    data_end=end,
                    data_log=desk.name,
                )
        if mine is not None and mine.alive:
            Tag("p", "The rings are being followed.", "state", role="status")
        elif mine is not None and (mine.fault or mine.broken_off):
            Tag("p", mine.fault or "It was broken off; send the photograph again.", "fault")
        elif found is not None:
            _shown(desk, end, found)


def _shown(desk: LogDesk, end: str, found: dict[str, Any]) -> None:
    stamp = photo_stamp(desk)[0 if end == "butt" else 1]
    picture = f"/photo/{quote(desk.name, safe='')}/{end}?at={stamp}"
    Tag(
        "img",
        src=picture,
        alt=f"The photograph of the {end} end with the rings that were followed",
        style="width:100%;height:auto",
    )
    left, top, error = (desk.fmt.length(found[key]) for key in ("from_left", "from_top", "error"))
    Tag(
        "p",
        f"The pith: {left} from the left and {top} from the top over bark, ± {error}. Take it if the drawn rings follow the wood.",
    )

    async def take() -> None:
        card = desk.card
        mark = {"from_left": f"{found['from_left']:.0f} mm", "from_top": f"{found['from_top']:.0f} mm"}
        changes = {f"pith.{end}": mark, "pith.error": f"{max(found['error'], LEAST_ERROR):.0f} mm"}
        await told(desk.change(with_keys(card, changes), {key: card.value(key) for key in changes}))

    button(f"Take it as the {end} end's mark", look="plain").on("click", take)


def photo_found(desk: LogDesk, end: str) -> dict[str, Any] | None:
    """What was found in the last photograph of an end."""
    try:
        found: dict[str, Any] = json.loads(
            (desk.shed.yard.fit_folder(desk.name) / f"end-{end}.pith.json").read_text(encoding="utf-8")
        )
    except (OSError, ValueError):
        return None
    return found if all(isinstance(found.get(key), int | float) for key in ("from_left", "from_top", "error")) else None


def photo_stamp(desk: LogDesk) -> tuple[int, int, object]:
    """Changes whenever a photograph of either end was worked on."""

    def changed(end: str) -> int:
        try:
            return (desk.shed.yard.fit_folder(desk.name) / f"end-{end}.pith.json").stat().st_mtime_ns
        except OSError:
            return 0

    job = desk.shed.jobs.state("photo", desk.name)
    return changed("butt"), changed("top"), None if job is None else (job.alive, job.done, job.fault)
