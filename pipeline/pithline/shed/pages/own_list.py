"""Mills and product lists of the yard's own: which there are, and how one is begun as a copy."""

from __future__ import annotations

from functools import partial
from urllib.parse import quote

from nicegui import ui

from pithline.shed.own_copies import KINDS, make_copy, own_names
from pithline.shed.parts import Tag, button, choice, frame, link, shown_name, typed
from pithline.shed.state import Shed

HEADS = {
    "mills": ("Mills", "What your machines can do, how fast they are and what an hour costs."),
    "products": ("Product lists", "What you saw for: sizes, prices, how many you can use, and how well quartered."),
}

USUAL = ("portable", "guitar")
"""What a copy is made of first, where nothing else is asked for."""


def own_address(kind: str, name: str, log: str, view: str = "") -> str:
    """The page of one mill or list; `log` is what is planned with it next."""
    asked = "&".join(f"{key}={quote(text, safe='')}" for key, text in (("log", log), ("view", view)) if text)
    return f"/own/{kind}/{quote(name, safe='')}" + (f"?{asked}" if asked else "")


def own_list_page(shed: Shed, of: str, log: str) -> None:
    """Build the page.

    Parameters
    ----------
    shed : Shed
    of : str
        The mill or list that a copy is wanted of, as a plan names it; nothing is chosen by any other.
    log : str
        The log that is to be planned with the copy, empty where it is none.
    """
    with frame(shed.yard, "Mills and product lists", "/own", shed.places()):
        Tag(
            "p",
            "Those that come with pithline are examples and stay as they are. Make a copy, write your own figures in, and plan with it.",
        )
        for kind, (head, words) in HEADS.items():
            Tag("h2", head, id=kind)
            Tag("p", words)
            names = own_names(shed.yard, kind)
            if names:
                with Tag("ul", look="owned"):
                    for name in names:
                        with Tag("li"):
                            link(shown_name(name), own_address(kind, name, log), "act")
            _new(shed, kind, of, log)


def _new(shed: Shed, kind: str, of: str, log: str) -> None:
    """The form that makes a copy and opens it."""
    options = {one: shown_name(one) for one in shed.yard.choices(kind)}
    one = KINDS[kind].one
    first = next((each for each in (of, *USUAL) if each in options), next(iter(options)))
    asked = {"of": first, "called": ""}

    def make() -> None:
        made = make_copy(shed.yard, kind, asked["of"], asked["called"])
        ui.navigate.to(own_address(kind, made.name, log))

    with Tag("div", look="row copying"):
        with Tag("div", look="field"):
            choice("Make a copy of", options, first, partial(asked.__setitem__, "of"), f"{kind}-of")
        typed("Call it", f"{kind}-called", "", partial(asked.__setitem__, "called"), placeholder=f"my {one}")
        button(f"Make your own {one}", make, "main", id=f"{kind}-make")
