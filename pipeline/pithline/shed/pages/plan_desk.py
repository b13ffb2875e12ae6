"""What is asked for on a log's page of plans."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pithline.errors import InputError
from pithline.shed.card_edit import as_typed
from pithline.shed.parts import to_the_top
from pithline.shed.state import Shed
from pithline.units import parse_length

THINNEST, THICKEST, MOST_SETTINGS = 15.0, 500.0, 1000
"""What the command `plan` takes of a first slab [mm] and of settings."""


@dataclass(slots=True)
class PlanDesk:
    """What is asked for on one page."""

    shed: Shed
    name: str
    mill: str
    products: set[str]
    objective: str = "sets"
    effort: str = "coarse"
    rung: str = "paying"
    typed: dict[str, str] = field(default_factory=dict)
    leave_bolts: bool = False
    begun_with: bool = False
    redraw: Callable[[], None] = lambda: None

    def asked(self) -> dict[str, Any]:
        """What a worker is asked for."""
        chosen = [one for one in self.shed.yard.choices("products") if one in self.products]
        if not chosen:
            raise InputError("no product list is chosen; choose at least one to plan for.")
        return {
            "mill": self.mill,
            "products": chosen,
            "objective": self.objective,
            "effort": self.effort,
            "rung": self.rung,
            "units": self.shed.units,
            "paper": self.shed.setting("paper"),
            "held": held_as_typed(self.typed, self.leave_bolts),
        }

    def start(self) -> None:
        """Begin a search in a process of its own."""
        self.shed.jobs.start("plan", self.name, self.asked(), self.shed.yard.next_plan(self.name))
        to_the_top()
        self.redraw()


HELD = {
    "roll_deg": ("Clock angle up at the first setting, in degrees", "30"),
    "first_slab": ("One slab of this thickness at the first setting", "100 mm, 4 in"),
    "max_settings": ("At most so many charged settings", "6"),
}
"""What may be held as the sawyer decides: its label and an example."""


def held_as_typed(typed: Mapping[str, str], leave_bolts: bool) -> dict[str, Any]:
    """What a search is held to. InputError where a field cannot be read."""
    found: dict[str, Any] = {"leave_bolts": True} if leave_bolts else {}
    if roll := as_typed("clock angle", typed.get("roll_deg", ""), "number"):
        found["roll_deg"] = float(roll) % 360.0
    if thickness := as_typed("first slab", typed.get("first_slab", ""), "length"):
        found["first_slab"] = parse_length(thickness, "first slab")
        if not THINNEST <= found["first_slab"] <= THICKEST:
            raise InputError(f"first slab is {thickness}; it must be from {THINNEST:.0f} mm to {THICKEST:.0f} mm.")
    if (most := typed.get("max_settings", "").strip()) and not (most.isdecimal() and 0 < int(most) <= MOST_SETTINGS):
        raise InputError(f'"{most[:20]}" is no number of settings; write a whole number, 1 or more.')
    if most:
        found["max_settings"] = int(most)
    return found
