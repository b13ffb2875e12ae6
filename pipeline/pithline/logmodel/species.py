"""What is known of each wood: shrinkage, bark, sapwood, green weight, each value with its source. The data stand in species.toml."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import resources
from typing import Any

from pithline.errors import InputError
from pithline.keys.declared import freeze, key, known_keys, named_tables, tables
from pithline.keys.readers import Read, length, number, one_of, text
from pithline.keys.walk import walk
from pithline.trade.weights import KG_M3_PER_LB_FT3, wet_density

STANDINGS = ("published", "second-hand", "memory", "practice")

_PERCENT = number(above=0.0, at_most=30.0, what="percentage")
_RATIO = number(above=0.0, at_most=1.0, what="ratio")


def _with_source(part: str, read: Read) -> Read:
    """Reader of a value and the name of its source: { PART = .., source = ".." }."""

    def read_value(value: object, name: str) -> dict[str, Any]:
        if not isinstance(value, dict) or set(value) != {part, "source"}:
            raise InputError(f'{name} must be a value with its source: {{ {part} = .., source = ".." }}.')
        return {part: read(value[part], f"{name} {part}"), "source": text(value["source"], f"{name} source")}

    return read_value


def _bark_ratio(value: object, name: str) -> dict[str, Any]:
    if not isinstance(value, dict) or set(value) != {"ratio", "error", "source"}:
        raise InputError(f'{name} must be written {{ ratio = .., error = .., source = ".." }}.')
    return {
        "ratio": _RATIO(value["ratio"], f"{name} ratio"),
        "error": _RATIO(value["error"], f"{name} error"),
        "source": text(value["source"], f"{name} source"),
    }


def _density(value: object, name: str) -> dict[str, Any]:
    """By weight, "929 kg/m3" or "58 lb/ft3", or by specific gravity and moisture content; to a whole kg/m³."""
    if isinstance(value, dict) and set(value) == {"specific_gravity", "moisture_percent", "source"}:
        gravity = _RATIO(value["specific_gravity"], f"{name} specific_gravity")
        moisture = number(above=0.0, at_most=300.0, what="percentage")(
            value["moisture_percent"], f"{name} moisture_percent"
        )
        found = wet_density(gravity, moisture)
    elif isinstance(value, dict) and set(value) == {"weight", "source"}:
        stated = re.fullmatch(r"\s*([\d.]+)\s*(kg/m3|lb/ft3)\s*", str(value["weight"]))
        if stated is None:
            raise InputError(f'{name} weight is "{value["weight"]}"; write it as "929 kg/m3" or "58 lb/ft3".')
        found = float(stated[1]) * (KG_M3_PER_LB_FT3 if stated[2] == "lb/ft3" else 1.0)
    else:
        raise InputError(f"{name} must have weight, or specific_gravity and moisture_percent, and its source.")
    return {"density": float(round(found)), "source": text(value["source"], f"{name} source")}


@dataclass(frozen=True, slots=True)
class Source:
    """Where values come from, and how well they are known: one of `STANDINGS`."""

    name: str
    text: str = field(metadata=key("text", text, "title, edition, table"))
    standing: str = field(metadata=key("standing", one_of(*STANDINGS), "how well it is known"))


@dataclass(frozen=True, slots=True)
class _Entry:
    """One [[species]] as its file has it: each value beside the name of its source."""

    name: str = field(metadata=key("name", text, "what cards call it"))
    latin: str = field(metadata=key("latin", text, "its botanical name"))
    shrink_radial: Mapping[str, Any] = field(
        metadata=key("shrink_radial", _with_source("percent", _PERCENT), "percent")
    )
    shrink_tangential: Mapping[str, Any] = field(
        metadata=key("shrink_tangential", _with_source("percent", _PERCENT), "percent")
    )
    bark_ratio: Mapping[str, Any] = field(metadata=key("bark_ratio", _bark_ratio, "inside over outside bark"))
    sapwood_most: Mapping[str, Any] = field(
        metadata=key("sapwood_most", _with_source("thickness", length(above=0.0)), "upper end of the usual range")
    )
    green_density: Mapping[str, Any] = field(metadata=key("green_density", _density, "of wood with its water"))


@dataclass(frozen=True, slots=True)
class _File:
    sources: tuple[Source, ...] = field(metadata=named_tables("source", Source))
    species: tuple[_Entry, ...] = field(metadata=tables("species", _Entry))


@dataclass(frozen=True, slots=True)
class Species:
    """One wood.

    Attributes
    ----------
    name, latin : str
    shrink_radial, shrink_tangential : float
        Fraction of the green size lost from green to ovendry.
    bark_ratio, bark_ratio_error : float
        Diameter inside bark over diameter outside bark, and its standard error between logs of the species.
    sapwood_most : float
        Upper end of the stated range of sapwood thickness. [mm]
    green_density : float
        Weight of green wood with its water. [kg/m³]
    sources : mapping
        Name of a value, such as "shrink_radial", to where it comes from.
    """

    name: str
    latin: str
    shrink_radial: float
    shrink_tangential: float
    bark_ratio: float
    bark_ratio_error: float
    sapwood_most: float
    green_density: float
    sources: Mapping[str, Source] = field(repr=False, compare=False)

    def bark_thickness(self, radius: float) -> float:
        """Thickness of the bark where the log measures `radius` over bark. [mm]"""
        return (1.0 - self.bark_ratio) * radius


def species_from(document: Mapping[str, object]) -> dict[str, Species]:
    """The species of a document such as species.toml holds, by name, in its order.

    Raises
    ------
    InputError
        The first fault in file order.
    """
    faults: list[str] = []
    values = walk(document, known_keys(_File), faults)
    if faults:
        raise InputError(f"species: {faults[0]}")
    file = freeze(_File, values)
    sources = {source.name: source for source in file.sources}
    return {_spelt(entry.name): _species(entry, sources) for entry in file.species}


def _species(entry: _Entry, sources: Mapping[str, Source]) -> Species:
    valued = ("shrink_radial", "shrink_tangential", "bark_ratio", "sapwood_most", "green_density")
    of: dict[str, Source] = {}
    for name in valued:
        source = getattr(entry, name)["source"]
        if source not in sources:
            raise InputError(f'species: {entry.name} {name} names the source "{source}"; add [source.{source}].')
        of[name] = sources[source]
    return Species(
        name=entry.name,
        latin=entry.latin,
        shrink_radial=round(entry.shrink_radial["percent"] / 100.0, 6),
        shrink_tangential=round(entry.shrink_tangential["percent"] / 100.0, 6),
        bark_ratio=entry.bark_ratio["ratio"],
        bark_ratio_error=entry.bark_ratio["error"],
        sapwood_most=entry.sapwood_most["thickness"],
        green_density=entry.green_density["density"],
        sources=of,
    )


def _spelt(name: str) -> str:
    """A name as it is compared: case, hyphens and spacing aside."""
    return " ".join(name.lower().replace("-", " ").replace("_", " ").split())


SPECIES: Mapping[str, Species] = species_from(
    tomllib.loads(resources.files("pithline.logmodel").joinpath("species.toml").read_text(encoding="utf-8"))
)
"""Every known wood, by its name in small letters."""


def species_of(name: str) -> Species:
    """The species of that name, case and spacing aside.

    Raises
    ------
    InputError
        If it is not known; names the nearest known one.
    """
    wanted = _spelt(name)
    if wanted in SPECIES:
        return SPECIES[wanted]
    near = difflib.get_close_matches(wanted, SPECIES, 1, 0.0)
    holding = [known for known in SPECIES if wanted and (wanted in known or known in wanted)]
    nearest = (holding or near)[0]
    raise InputError(
        f'species "{name}" is not known; did you mean "{SPECIES[nearest].name}"? Known are: '
        f"{', '.join(sorted(species.name for species in SPECIES.values()))}."
    )
