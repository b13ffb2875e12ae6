"""Settings of the yard, and how a phone is let in."""

from __future__ import annotations

from pithline.shed.parts import Tag, choice, drawing, frame, link, say
from pithline.shed.state import Shed

UNITS = {"mm": "millimetres, kilograms, litres", "in": "inches, pounds, board feet"}
PAPER = {"A4": "A4", "Letter": "Letter"}


def settings_page(shed: Shed) -> None:
    """Build the page."""
    with frame(shed.yard, "Settings", "/settings", shed.places()):
        Tag("h2", "Measures and paper")

        def keep(name: str, value: str) -> None:
            shed.set(name, value)
            say("Kept for this yard; new plans are printed so.")

        with Tag("div", look="asking"):
            with Tag("div"):
                choice("Measures", UNITS, shed.units, lambda value: keep("units", value), "units")
            with Tag("div"):
                choice("Paper", PAPER, shed.setting("paper"), lambda value: keep("paper", value), "paper")
        Tag("h2", "A phone or a second machine")
        _sharing(shed)


def _sharing(shed: Shed) -> None:
    if not shed.door.shared:
        Tag(
            "p",
            "Only this machine can open these pages. To let a phone on the same network in, stop the server and start it so:",
        )
        Tag("p", "pithline open --share", "note")
        Tag(
            "p",
            "Whoever opens the address with a key can then see and change everything in this folder, and nothing outside it. "
            "What passes over the network is not encrypted: share on a network that you trust.",
        )
        return
    import io

    import segno

    address = f"{shed.address}/enter?key={shed.door.new_key()}"
    picture = io.BytesIO()
    segno.make_qr(address, error="m").save(
        picture, kind="svg", omitsize=True, border=4, xmldecl=False, svgns=True, title="Code to open this yard"
    )
    Tag(
        "p", "Point the phone's camera at the code. It lets one browser in, once; every further one needs another code."
    )
    drawing(picture.getvalue().decode(), "code")
    Tag("p", address, "note")
    link("Another code", "/settings", "act")
    Tag(
        "p",
        "Whoever opens it can see and change everything in this folder, and nothing outside it, until the server is stopped. "
        "What passes over the network is not encrypted: share on a network that you trust.",
    )
