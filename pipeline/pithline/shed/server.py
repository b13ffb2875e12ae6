"""The server: who may ask, which page answers, how a scan comes in. Loopback only, unless it is shared by key."""

from __future__ import annotations

import contextlib
import logging
import socket
from pathlib import Path
from typing import Any

from nicegui import app, ui

from pithline.errors import InputError, PithlineError
from pithline.shed.access import Door, Gate, hosts_of
from pithline.shed.folder import WatchedYard
from pithline.shed.jobs import Jobs
from pithline.shed.parts import STATIC, Tag, frame, link
from pithline.shed.routes import add_file_routes, add_intake_routes
from pithline.shed.saw_routes import add_saw_routes
from pithline.shed.state import Shed
from pithline.shed.tidying import Hearing, Lulls

PORT = 8765
TRIED = 40
"""Ports looked at from the first on."""


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
    yard = WatchedYard(root.resolve())
    addresses = own_addresses() if share else []
    if share and not addresses:
        raise InputError(
            "this machine is on no network, so there is nobody to share with; leave --share out, or join a network."
        )
    door = Door(hosts_of(addresses, port), share)
    return Shed(yard, Jobs(yard), door, f"http://{addresses[0]}:{port}" if addresses else "")


def serve(shed: Shed, host: str, port: int, show: str | bool) -> None:
    """Answer until it is stopped. `show`: the path that this machine's browser opens, `False` for none."""
    add_intake_routes(shed)
    add_file_routes(shed)
    add_saw_routes(shed)
    _pages(shed)
    lulls = Lulls()
    app.add_middleware(Hearing, lulls=lulls)
    app.add_middleware(Gate, door=shed.door)
    app.on_startup(lulls.tidy)
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


def _pages(shed: Shed) -> None:
    from pithline.shed.pages.appraisal import appraisal_page
    from pithline.shed.pages.good_for import good_for_page
    from pithline.shed.pages.log import log_page
    from pithline.shed.pages.own_file import own_file_page
    from pithline.shed.pages.own_list import own_list_page
    from pithline.shed.pages.plans import plans_page
    from pithline.shed.pages.season import season_page
    from pithline.shed.pages.settings import settings_page
    from pithline.shed.pages.what_if import what_if_page
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

    @ui.page("/good-for/{name}")
    def good_for(name: str) -> None:
        shown(good_for_page, name)

    @ui.page("/plans/{name}")
    def plans(
        name: str, roll_deg: str = "", first_slab: str = "", bolts: str = "", products: str = "", mill: str = ""
    ) -> None:
        held, wanted = {"roll_deg": roll_deg, "first_slab": first_slab}, [one for one in products.split(",") if one]
        shown(lambda shed, log: plans_page(shed, log, held, bolts == "leave", wanted, mill), name)

    @ui.page("/what-if/{name}")
    def what_if(name: str, plan: str = "") -> None:
        shown(lambda shed, log: what_if_page(shed, log, plan), name)

    @ui.page("/appraisal")
    def appraisal(of: str = "") -> None:
        shown(lambda shed: appraisal_page(shed, of))

    @ui.page("/season")
    def season() -> None:
        shown(season_page)

    @ui.page("/own")
    def own_list(of: str = "", log: str = "") -> None:
        shown(lambda shed: own_list_page(shed, of, log))

    @ui.page("/own/{kind}/{name}")
    def own_file(kind: str, name: str, log: str = "", view: str = "") -> None:
        shown(lambda shed: own_file_page(shed, kind, name, log, view == "text"))

    @ui.page("/settings")
    def settings() -> None:
        shown(settings_page)
