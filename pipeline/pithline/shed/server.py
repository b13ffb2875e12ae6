"""The server: who may ask, which page answers, how a scan comes in. Loopback only, unless it is shared by key."""

from __future__ import annotations

import contextlib
import logging
import socket
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import FileResponse, JSONResponse, Response
from nicegui import app, ui

from pithline.errors import InputError, PithlineError
from pithline.shed.access import Door, Gate, hosts_of
from pithline.shed.card_edit import as_typed
from pithline.shed.fitting import face_file
from pithline.shed.folder import YardFolder
from pithline.shed.intake import take_in, take_photo
from pithline.shed.jobs import Jobs
from pithline.shed.parts import STATIC, Tag, frame, link
from pithline.shed.saw_routes import add_saw_routes
from pithline.shed.state import Shed

PORT = 8765
TRIED = 40
"""Ports looked at from the first on."""
GIVEN = frozenset(
    {
        "set-up-sheet.pdf",
        "shop-cards.pdf",
        "overview.pdf",
        "end-templates.pdf",
        "end-templates-full-size.pdf",
        "labels.pdf",
        "labels.csv",
        "preview.html",
        "preview.png",
        "plan.glb",
        "cut-script.json",
        "found.toml",
    }
)
"""Files of a plan's folder that are given out; no other is."""


def free_port(host: str, first: int | None) -> int:
    """The port asked for, else the first free one. InputError where there is none."""
    for port in (first,) if first is not None else range(PORT, PORT + TRIED):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    raise InputError(f"port {first or PORT} is taken; name a free one with --port.")


def own_addresses() -> list[str]:
    """Addresses of this machine on its networks, the likeliest first. Nothing is sent to find them."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): a datagram socket's connect sends nothing
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return [one for one in dict.fromkeys(found) if not one.startswith("127.")]


def make_shed(root: Path, port: int, share: bool) -> Shed:
    """What the pages of a yard share. InputError where the folder cannot be one, or there is no network to share it on."""
    if not root.is_dir():
        raise InputError(f"{root} is no folder; name the one that your scans and cards lie in.")
    yard = YardFolder(root.resolve())
    addresses = own_addresses() if share else []
    if share and not addresses:
        raise InputError(
            "this machine is on no network, so there is nobody to share with; leave --share out, or join a network."
        )
    door = Door(hosts_of(addresses, port), share)
    return Shed(yard, Jobs(yard), door, f"http://{addresses[0]}:{port}" if addresses else "")


def serve(shed: Shed, host: str, port: int, show: str | bool) -> None:
    """Answer until it is stopped. `show`: the path that this machine's browser opens, `False` for none."""
    _routes(shed)
    add_saw_routes(shed)
    _pages(shed)
    app.add_middleware(Gate, door=shed.door)
    app.on_shutdown(shed.close)
    logging.getLogger("nicegui").setLevel(logging.WARNING)
    ui.run(
        host=host,
        port=port,
        title="Pithline",
        show=show,
        reload=False,
        dark=False,
        language="en-US",
        favicon=STATIC / "pith.svg",
        tailwind=False,
        show_welcome_message=False,
        uvicorn_logging_level="warning",
        reconnect_timeout=20.0,
        access_log=False,
        server_header=False,
    )


def _routes(shed: Shed) -> None:
    """What is not a page: our own files, a plan's files, pictures of faces, and scans that come in."""
    app.add_static_files("/shed-files", STATIC)

    @app.post("/take-in")
    async def take(request: Request, name: str = "") -> Response:
        try:
            path = await take_in(shed.yard.root, name, request.stream())
            shed.jobs.start("begin", path.stem, {})
        except PithlineError as error:
            return JSONResponse({"fault": str(error)}, 400)
        return JSONResponse({"log": path.stem})

    @app.post("/take-photo/{log}/{end}")
    async def take_end(request: Request, log: str, end: str, across: str = "") -> Response:
        try:
            name = shed.yard.log(log).name
            if end not in ("butt", "top"):
                raise InputError("a log has a butt and a top end; send the photograph from its page.")
            words = as_typed("breadth over bark", across, "length")
            if words is None:
                raise InputError(
                    "the breadth over bark is not written yet: level through the widest part, such as 486 mm or 19 in."
                )
            await take_photo(shed.yard.fit_folder(name), end, request.stream())
            shed.jobs.start("photo", name, {"end": end, "across": words})
        except PithlineError as error:
            return JSONResponse({"fault": str(error)}, 400)
        return JSONResponse({"log": name})

    @app.get("/photo/{log}/{end}")
    def photo(log: str, end: str) -> Response:
        try:
            folder = shed.yard.fit_folder(shed.yard.log(log).name)
            return _file(folder / f"end-{end}.pith.png" if end in ("butt", "top") else None)
        except PithlineError:
            return _file(None)

    @app.get("/face/{log}/{end}")
    def face(log: str, end: str) -> Response:
        try:
            path = face_file(shed.yard, shed.yard.log(log).name, end) if end in ("butt", "top") else None
        except PithlineError:
            path = None
        return _file(path)

    @app.get("/fit/{log}/fit.png")
    def fit_picture(log: str) -> Response:
        try:
            return _file(shed.yard.fit_folder(shed.yard.log(log).name) / "fit.png")
        except PithlineError:
            return _file(None)

    @app.get("/plan-file/{log}/{file}")
    def plan_file(log: str, file: str, plan: str = "") -> Response:
        try:
            path = shed.yard.plan(log, plan).path / file if file in GIVEN else None
        except PithlineError:
            path = None
        return _file(path)


def _file(path: Path | None) -> Response:
    if path is None or not path.is_file():
        return Response("There is no such file here.", 404, media_type="text/plain")
    return FileResponse(path, headers={"cache-control": "no-cache"})


def _pages(shed: Shed) -> None:
    from pithline.shed.pages.log import log_page
    from pithline.shed.pages.plans import plans_page
    from pithline.shed.pages.settings import settings_page
    from pithline.shed.pages.yard import yard_page

    def shown(build: Any, *names: str) -> None:
        """A page, or in its place a sentence on why there is none."""
        try:
            for name in names[:1]:
                shed.yard.log(name)
            build(shed, *names)
        except PithlineError as error:
            with frame(shed.yard, "Not found", "", shed.places()):
                Tag("p", str(error), "fault")
                link("To the yard", "/", "act")

    @app.on_page_exception
    def broken() -> None:
        ui.add_head_html('<link rel="stylesheet" href="/shed-files/shed.css">')
        with Tag("div", look="sheet"):
            Tag("h1", "This page cannot be shown")
            Tag(
                "p",
                "This is a fault in pithline itself, not in your files. What you saved is safe; the details stand where it was started.",
                "fault",
            )
            link("To the yard", "/", "act")

    @ui.page("/")
    def yard() -> None:
        shown(yard_page)

    @ui.page("/log/{name}")
    def log(name: str) -> None:
        shown(log_page, name)

    @ui.page("/plans/{name}")
    def plans(name: str) -> None:
        shown(plans_page, name)

    @ui.page("/settings")
    def settings() -> None:
        shown(settings_page)
