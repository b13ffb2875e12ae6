"""What is not a page: scans and photographs that come in, pictures and papers that are given out."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path

from fastapi import Request
from fastapi.responses import FileResponse, JSONResponse, Response
from nicegui import app

from pithline.errors import InputError, PithlineError
from pithline.outputs.plan_folder import PREVIEWS, PRINTED, SCRIPT
from pithline.shed.card_edit import as_typed
from pithline.shed.fitting import face_file, scene_file
from pithline.shed.intake import take_in, take_photo
from pithline.shed.jobs import end_of_best
from pithline.shed.lots import lot_picture
from pithline.shed.parts import STATIC
from pithline.shed.plan_view import kept_view
from pithline.shed.state import Shed

GIVEN = frozenset({*PRINTED, *PREVIEWS, SCRIPT, "found.toml"})
"""Files of a plan's folder that are given out; no other is."""
REPORTS = {
    "appraisal": frozenset({"appraisal.html", "appraisal.csv", "appraisal.json"}),
    "season": frozenset({"season.html", "season.csv", "season.json"}),
}
"""Files of an appraisal's and of a season's folder that are given out."""
ENDS = ("butt", "top")


def add_intake_routes(shed: Shed) -> None:
    """Where files are sent."""

    @app.post("/take-in")
    async def take(request: Request, name: str = "") -> Response:
        async def taken() -> str:
            path = await take_in(shed.yard.root, name, request.stream())
            shed.jobs.start("begin", path.stem, {})
            return path.stem

        return await _answered(taken)

    @app.post("/take-photo/{log}/{end}")
    async def take_end(request: Request, log: str, end: str, across: str = "") -> Response:
        async def taken() -> str:
            known = shed.yard.log(log).name
            if end not in ENDS:
                raise InputError("a log has a butt and a top end; send the photograph from its page.")
            words = as_typed("breadth over bark", across, "length")
            if words is None:
                raise InputError(
                    "the breadth over bark is not written yet: level through the widest part, such as 486 mm or 19 in."
                )
            await take_photo(shed.yard.fit_folder(known), end, request.stream())
            shed.jobs.start("photo", known, {"end": end, "across": words})
            return known

        return await _answered(taken)


async def _answered(work: Callable[[], Awaitable[str]]) -> Response:
    """The log that work was begun on, or why it was not."""
    try:
        return JSONResponse({"log": await work()})
    except PithlineError as error:
        return JSONResponse({"fault": str(error)}, 400)


def add_file_routes(shed: Shed) -> None:
    """Where files are fetched. Every name is looked up, none is used as a path."""
    yard = shed.yard
    app.add_static_files("/shed-files", STATIC)

    @app.get("/face/{log}/{end}")
    def face(log: str, end: str) -> Response:
        return _file(lambda: face_file(yard, yard.log(log).name, end) if end in ENDS else None)

    @app.get("/scene/{log}/{file}")
    def scene(log: str, file: str) -> Response:
        return _file(lambda: scene_file(yard, yard.log(log).name, file))

    @app.get("/photo/{log}/{end}")
    def photo(log: str, end: str) -> Response:
        return _file(lambda: yard.fit_folder(yard.log(log).name) / f"end-{end}.pith.png" if end in ENDS else None)

    @app.get("/plan-file/{log}/{file}")
    def plan_file(log: str, file: str, plan: str = "") -> Response:
        return _file(lambda: yard.plan(log, plan).path / file if file in GIVEN else None)

    @app.get("/report-file/{kind}/{name}/{file}")
    def report_file(kind: str, name: str, file: str) -> Response:
        return _file(lambda: yard.report(kind, name).path / file if file in REPORTS.get(kind, ()) else None)

    @app.get("/lot-picture/{name}/{number}/{view}")
    def picture(name: str, number: int, view: str) -> Response:
        try:
            return _picture(lot_picture(yard, yard.report("appraisal", name), number, view))
        except PithlineError:
            return _picture(None)

    @app.get("/plan-end/{log}/{number}")
    def plan_end(log: str, number: int, plan: str = "") -> Response:
        try:
            view = kept_view(yard, yard.plan(log, plan).path, shed.units)
        except PithlineError:
            view = None
        rows = view["ladder"] if view else []
        shown = rows[number]["picture"] if 0 <= number < len(rows) else None
        return _picture(shown["svg"] if shown else None)

    @app.get("/best-end/{log}")
    def best_end(log: str) -> Response:
        try:
            return _picture(end_of_best(shed.jobs.path("plan", yard.log(log).name)).read_text(encoding="utf-8"))
        except (PithlineError, OSError):
            return _picture(None)


def _picture(svg: str | None) -> Response:
    """A drawing, or that there is none; its address changes whenever it does."""
    if svg is None:
        return _file(lambda: None)
    headers = {"cache-control": "private, max-age=86400"}
    return Response(svg, media_type="image/svg+xml", headers=headers)


def _file(wanted: Callable[[], Path | None]) -> Response:
    """A file, or that there is none."""
    try:
        path = wanted()
    except PithlineError:
        path = None
    if path is None or not path.is_file():
        return Response("There is no such file here.", 404, media_type="text/plain")
    return FileResponse(path, headers={"cache-control": "no-cache"})
