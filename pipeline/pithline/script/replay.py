"""Replay of a cut script's operations on the log solid: pieces, volumes and their balance. Never asks the planner."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pithline.script.solid import cut, log_solid


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold: its kind, the operation, piece or plate, what is stated and what was found."""

    kind: str
    place: str
    stated: float | str
    found: float | str
    sentence: str


def replay_pieces(document: dict[str, Any], share: float = 0.005) -> tuple[Finding, ...]:
    """What fails of pieces and volumes: use, making, stated volumes and the sum, within `share` (of the log for sums).

    Poses, limits, plates and grades are not looked at here.
    """
    live = {"log": log_solid(document["model"])}
    whole = live["log"].volume()
    used: set[str] = set()
    dust, found = 0.0, []
    for one in document["operations"]:
        if one["op"] != "cut":
            continue
        if one["piece"] not in live:
            why = "used" if one["piece"] in used else "unknown"
            found.append(Finding(f"piece-{why}", one["id"], one["piece"], why,
                                 f"{one['id']} cuts {one['piece']}, which is {why} by then"))
            continue
        above, below, sawdust = cut(live.pop(one["piece"]), one["normal"], one["offset"], one["kerf"])
        used.add(one["piece"])
        dust += sawdust
        for name, solid in ((one["above"], above), (one["below"], below)):
            if name in live or name in used:
                found.append(Finding("piece-twice", one["id"], name, name, f"{one['id']} makes {name} a second time"))
            live[name] = solid
        for piece in document["pieces"]:
            if piece["id"] in (one["above"], one["below"]):
                real = live[piece["id"]].volume()
                if abs(real - piece["volume"]) > max(share * real, 1e-5 * whole):
                    found.append(Finding("piece-volume", piece["id"], piece["volume"], real,
                                         f"{piece['id']} is stated as {piece['volume']:.0f} mm³ but holds {real:.0f}"))
    total = sum(solid.volume() for solid in live.values()) + dust
    stated = document["totals"]["log_volume"]
    for kind, value in (("balance", total), ("log-volume", whole)):
        if abs(value - stated) > share * whole:
            sentence = f"totals state a log of {stated:.0f} mm³, {value:.0f} found"
            found.append(Finding(kind, "totals", stated, value, sentence))
    return tuple(found)
