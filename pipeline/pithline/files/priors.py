"""Priors files: what nobody sees before a log is open, as distributions, each with its standing and source."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.bundled import bundled
from pithline.files.tables import (
    Key,
    Read,
    Table,
    Tables,
    length,
    list_of,
    number,
    one_of,
    read_toml,
    tell,
    text,
    whole,
)
from pithline.trade.log_rules import RULES
from pithline.trade.waiting_log import EndChecks, MetalChances

DEFAULT = "priors.toml"

STANDINGS = ("published", "measured", "customary", "invented")


@dataclass(frozen=True, slots=True)
class Money:
    """What drying, the rest of the log and a ruined band cost or bring, in the currency named."""

    currency: str
    rest_per_m3: float
    drying_per_m3_month: float
    interest_percent: float
    blade: float


@dataclass(frozen=True, slots=True)
class OtherBuyer:
    """What another buyer gives for a log: a price per board foot of a log rule by the least whole inches across, rising."""

    rule: str
    least_inches: tuple[int, ...] = ()
    prices: tuple[float, ...] = ()

    def price(self, inches: float) -> float:
        """Per board foot of a log of that small end; 0 for one too small to be bought."""
        found = 0.0
        for least, price in zip(self.least_inches, self.prices, strict=True):
            if inches >= least:
                found = price
        return found


@dataclass(frozen=True, slots=True)
class Sampling:
    """How many logs and answers are drawn; `replans`: logs known by tape that are planned anew as a scan would show them."""

    samples: int
    replans: int
    answers: int
    inner: int


@dataclass(frozen=True, slots=True)
class Priors:
    """A whole priors file. Lengths mm, angles radians; shares are of the radius, length or thickness named."""

    money: Money
    sampling: Sampling
    bark_ratio: float
    bark_gauged: float
    pith_unmarked: float
    pith_wander: float  # mm
    scan_error: tuple[float, ...]
    section_shape: tuple[float, ...]
    section_spread: float
    sweep_unseen: float
    string_error: float  # mm
    spiral_mean: float  # rad
    spiral_sd: float
    knots_per_m2: float
    knot_diameter: float
    knot_spread: float
    suspected_real: float
    metal_forest: float
    metal_yard: float
    metal_stained: float
    metal_diameter: float
    checks_per_end: float
    check_length: float
    check_growth: float
    check_coated: float
    check_spread: float
    rot_share: float
    rot_diameter: float
    rot_length: float
    rot_spread: float
    figure_share: float
    figure_factor: float
    figure_spread: float
    figure_reach: float
    other_buyer: OtherBuyer = OtherBuyer("doyle")

    @property
    def end_checks(self) -> EndChecks:
        """How long end checks grow."""
        return EndChecks(self.check_length, self.check_growth, self.check_coated)

    @property
    def metal(self) -> MetalChances:
        """How likely a log holds metal."""
        return MetalChances(self.metal_forest, self.metal_yard, self.metal_stained)


def _spread(most: float | None = None) -> Key:
    return Key(_is_spread(number(what="standard deviation"), most), required=True)


def _is_spread(read: Read, most: float | None = None) -> Read:
    """A standard deviation: 0 or more; below 0 it is no distribution."""

    def check(value: object, key: str) -> Any:
        found = read(value, key)
        if found < 0.0 or (most is not None and found > most):
            limit = "0 or more" if most is None else f"between 0 and {most:g}"
            raise InputError(f"{key} is {value}, which makes this prior no distribution; it must be {limit}.")
        return found

    return check


def _share() -> Key:
    def check(value: object, key: str) -> float:
        found: float = number(what="share")(value, key)
        if not 0.0 <= found <= 1.0:
            raise InputError(f"{key} is {value}, which makes this prior no distribution; a share lies between 0 and 1.")
        return found

    return Key(check, required=True)


def _rate() -> Key:
    def check(value: object, key: str) -> float:
        found: float = number(what="rate")(value, key)
        if found < 0.0:
            raise InputError(f"{key} is {value}, which makes this prior no distribution; a rate is 0 or more.")
        return found

    return Key(check, required=True)


def _shape(value: object, key: str) -> list[float]:
    found = list_of(_is_spread(number(what="standard deviation"), 1.0), 1)(value, key)
    if len(found) > 13:
        raise InputError(f"{key} has {len(found)} values; at most 13 lobes are drawn, leave some out.")
    return list(found)


_LENGTH_SD = Key(length(at_least=0.0), required=True)
_POSITIVE = Key(length(at_least=None, above=0.0), required=True)
_MONEY = Key(number(at_least=0.0, what="amount of money"), required=True)


def _prior(**keys: Key) -> Table:
    """One prior, which must say where it comes from."""
    told = {"standing": Key(one_of(*STANDINGS), required=True), "source": Key(text, required=True)}
    return Table({**keys, **told}, required=True)


PRIORS = Table(
    {
        "money": Table(
            {
                "currency": Key(text, required=True),
                "rest_per_m3": _MONEY,
                "drying_per_m3_month": _MONEY,
                "interest_percent": Key(number(at_least=0.0, at_most=100.0, what="percentage"), required=True),
                "blade": _MONEY,
            },
            required=True,
        ),
        "sampling": Table(
            {
                "samples": Key(whole(8), required=True),
                "replans": Key(whole(9), required=True),
                "answers": Key(whole(2), required=True),
                "inner": Key(whole(4), required=True),
            },
            required=True,
        ),
        "prior": Table(
            {
                "bark_ratio": _prior(sd=_spread(0.2)),
                "bark_gauged": _prior(sd=_spread(1.0)),
                "pith_unmarked": _prior(sd=_spread(0.5)),
                "pith_wander": _prior(sd=_LENGTH_SD),
                "scan_error": _prior(shares=Key(_shape, required=True)),
                "section_shape": _prior(sd=Key(_shape, required=True), spread=_spread(3.0)),
                "sweep_unseen": _prior(sd=_spread(0.2)),
                "string_error": _prior(sd=_LENGTH_SD),
                "spiral": _prior(
                    mean_deg=Key(number(at_least=-45.0, at_most=45.0, what="angle in degrees"), required=True),
                    sd_deg=_spread(45.0),
                ),
                "hidden_knots": _prior(
                    per_m2=_rate(), diameter=_POSITIVE, spread=_spread(3.0), suspected_real=_share()
                ),
                "metal": _prior(forest=_share(), yard=_share(), stained=_share(), diameter=_POSITIVE),
                "end_checks": _prior(
                    per_end=_rate(), length=_LENGTH_SD, first_month=_LENGTH_SD, coated=_share(), spread=_spread(3.0)
                ),
                "rot": _prior(share=_share(), diameter=_POSITIVE, length=_POSITIVE, spread=_spread(3.0)),
                "figure": _prior(
                    share=_share(),
                    factor=Key(number(at_least=1.0, what="factor"), required=True),
                    spread=_spread(3.0),
                    reach=_share(),
                ),
            },
            required=True,
        ),
        "alternatives": Table(
            {
                "rule": Key(one_of(*RULES), required=True),
                "standing": Key(one_of(*STANDINGS), required=True),
                "source": Key(text, required=True),
                "class": Tables(
                    Table(
                        {
                            "inches": Key(whole(1), required=True),
                            "price": Key(number(at_least=0.0, what="amount of money"), required=True),
                        }
                    ),
                    required=True,
                ),
            }
        ),
    }
)


def read_priors(path: str | Path | None = None) -> Priors:
    """Read, check and freeze a priors file; the bundled one where `path` is None."""
    return priors_from(priors_as_read(path))


def priors_as_read(path: str | Path | None = None) -> dict[str, Any]:
    """The file's tables as read: lengths in mm, angles in degrees."""
    path = bundled(DEFAULT) if path is None else path
    values = read_toml(path, PRIORS)
    inches = [one["inches"] for one in values.get("alternatives", {}).get("class", ())]
    if inches != sorted(set(inches)):
        tell(path, ["[[alternatives.class]] must rise in inches, each class once; put them in order."])
    return values


def priors_from(values: Mapping[str, Any]) -> Priors:
    """The frozen priors of tables as read."""
    one = values["prior"]
    return Priors(
        money=Money(**values["money"]),
        sampling=Sampling(**values["sampling"]),
        bark_ratio=one["bark_ratio"]["sd"],
        bark_gauged=one["bark_gauged"]["sd"],
        pith_unmarked=one["pith_unmarked"]["sd"],
        pith_wander=one["pith_wander"]["sd"],
        scan_error=tuple(one["scan_error"]["shares"]),
        section_shape=tuple(one["section_shape"]["sd"]),
        section_spread=one["section_shape"]["spread"],
        sweep_unseen=one["sweep_unseen"]["sd"],
        string_error=one["string_error"]["sd"],
        spiral_mean=math.radians(one["spiral"]["mean_deg"]),
        spiral_sd=math.radians(one["spiral"]["sd_deg"]),
        knots_per_m2=one["hidden_knots"]["per_m2"],
        knot_diameter=one["hidden_knots"]["diameter"],
        knot_spread=one["hidden_knots"]["spread"],
        suspected_real=one["hidden_knots"]["suspected_real"],
        metal_forest=one["metal"]["forest"],
        metal_yard=one["metal"]["yard"],
        metal_stained=one["metal"]["stained"],
        metal_diameter=one["metal"]["diameter"],
        checks_per_end=one["end_checks"]["per_end"],
        check_length=one["end_checks"]["length"],
        check_growth=one["end_checks"]["first_month"],
        check_coated=one["end_checks"]["coated"],
        check_spread=one["end_checks"]["spread"],
        rot_share=one["rot"]["share"],
        rot_diameter=one["rot"]["diameter"],
        rot_length=one["rot"]["length"],
        rot_spread=one["rot"]["spread"],
        figure_share=one["figure"]["share"],
        figure_factor=one["figure"]["factor"],
        figure_spread=one["figure"]["spread"],
        figure_reach=one["figure"]["reach"],
        other_buyer=_other_buyer(values.get("alternatives")),
    )


def _other_buyer(table: Mapping[str, Any] | None) -> OtherBuyer:
    """The other buyer of an [alternatives] table; one who buys nothing where there is none."""
    if table is None:
        return OtherBuyer("doyle")
    classes = table["class"]
    return OtherBuyer(
        table["rule"], tuple(one["inches"] for one in classes), tuple(float(one["price"]) for one in classes)
    )
