"""Priors files: what nobody sees before a log is open, as distributions, each with its standing and source.

Each field declares the key of the file that fills it (`pithline.keys.declared`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.bundled import bundled
from pithline.files.read import read_toml, tell
from pithline.keys.declared import Declaration, Key, Table, freeze, key, known_keys, table, tables
from pithline.keys.readers import Read, length, list_of, number, one_of, text, whole
from pithline.trade.log_rules import RULES
from pithline.trade.waiting_log import EndChecks, MetalChances

DEFAULT = "priors.toml"

STANDINGS = ("published", "measured", "customary", "invented")
LOBES_MOST = 13
"""A section is drawn with so many harmonics at most."""


def spread(most: float | None = None) -> Read:
    """Reader of a standard deviation: 0 or more; below 0 it is no distribution."""

    def read(value: object, key: str) -> Any:
        found = number(what="standard deviation")(value, key)
        if found < 0.0 or (most is not None and found > most):
            limit = "0 or more" if most is None else f"between 0 and {most:g}"
            raise InputError(f"{key} is {value}, which makes this prior no distribution; it must be {limit}.")
        return found

    return read


def share(value: object, key: str) -> float:
    """Reader of a share, 0 to 1."""
    found: float = number(what="share")(value, key)
    if not 0.0 <= found <= 1.0:
        raise InputError(f"{key} is {value}, which makes this prior no distribution; a share lies between 0 and 1.")
    return found


def times(value: object, key: str) -> float:
    """Reader of how often something is met, 0 or more."""
    found: float = number(what="rate")(value, key)
    if found < 0.0:
        raise InputError(f"{key} is {value}, which makes this prior no distribution; a rate is 0 or more.")
    return found


def lobes(value: object, key: str) -> list[float]:
    """Reader of a list of standard deviations, one for each lobe of a section."""
    found = list_of(spread(1.0), 1)(value, key)
    if len(found) > LOBES_MOST:
        raise InputError(f"{key} has {len(found)} values; at most {LOBES_MOST} lobes are drawn, leave some out.")
    return list(found)


_LENGTH = length(at_least=0.0)
_POSITIVE = length(at_least=None, above=0.0)
_MONEY = number(at_least=0.0, what="amount of money")


@dataclass(frozen=True, slots=True)
class Money:
    """What drying, the rest of the log and a ruined band cost or bring, in the currency named."""

    currency: str = field(metadata=key("currency", text, "a name; a products file that names another is refused"))
    rest_per_m3: float = field(metadata=key("rest_per_m3", _MONEY, "what a cubic metre outside the plates brings"))
    drying_per_m3_month: float = field(
        metadata=key("drying_per_m3_month", _MONEY, "what a cubic metre of plates costs to dry, a month")
    )
    interest_percent: float = field(
        metadata=key(
            "interest_percent",
            number(at_least=0.0, at_most=100.0, what="percentage"),
            "a year, on the bid while the wood dries",
        )
    )
    blade: float = field(metadata=key("blade", _MONEY, "a band ruined by metal, with the time to change it"))


@dataclass(frozen=True, slots=True)
class PriorSampling:
    """How many logs and answers are drawn."""

    samples: int = field(metadata=key("samples", whole(8), "logs drawn; the plan is graded again on each"))
    replans: int = field(
        metadata=key("replans", whole(9), "of a log known by tape: drawn logs planned anew, as a scan would show each")
    )
    answers: int = field(metadata=key("answers", whole(2), "answers drawn for each thing that could be found out"))
    inner: int = field(metadata=key("inner", whole(4), "logs drawn for each answer"))


@dataclass(frozen=True, slots=True)
class BuyerClass:
    """What another buyer pays a board foot, from so many whole inches across the small end inside bark."""

    inches: int = field(metadata=key("inches", whole(1), "from so many whole inches across, small end inside bark"))
    price: float = field(metadata=key("price", _MONEY, "a board foot"))


@dataclass(frozen=True, slots=True)
class OtherBuyer:
    """What another buyer gives for a log as it lies: a price a board foot of a log rule, by diameter class, rising."""

    rule: str = field(metadata=key("rule", one_of(*RULES), "the log rule whose board feet are paid for"))
    classes: tuple[BuyerClass, ...] = field(default=(), metadata=tables("class", BuyerClass))

    def price(self, inches: int) -> float:
        """Per board foot of a log of that small end; 0 for one too small to be bought."""
        return next((one.price for one in reversed(self.classes) if inches >= one.inches), 0.0)


def _prior(path: str, read: Read, means: str, freeze: Any = float) -> Mapping[str, Declaration]:
    """A key of one prior, [prior.NAME]."""
    return key(f"prior.{path}", read, means, freeze=freeze)


NO_BUYER = OtherBuyer("doyle")
"""Where the file has no [alternatives]."""


@dataclass(frozen=True, slots=True)
class Priors:
    """A whole priors file. Lengths mm, angles radians; shares are of the radius, length or thickness named."""

    money: Money = field(metadata=table("money", Money))
    sampling: PriorSampling = field(metadata=table("sampling", PriorSampling))
    bark_ratio: float = field(
        metadata=_prior("bark_ratio.sd", spread(0.2), "diameter inside over outside bark, about the species' figure")
    )
    bark_gauged: float = field(
        metadata=_prior("bark_gauged.sd", spread(1.0), "of the bark's thickness, left after gauging at both ends")
    )
    pith_unmarked: float = field(
        metadata=_prior("pith_unmarked.sd", spread(0.5), "the pith about the centre, each way, of the radius")
    )
    pith_wander: float = field(
        metadata=_prior(
            "pith_wander.sd", _LENGTH, "the pith between its ends, about a line of one offset from the centre"
        )
    )
    scan_error: tuple[float, ...] = field(
        metadata=_prior("scan_error.shares", lobes, "how a fit's own error is shared among lobes, a list", tuple)
    )
    section_shape: tuple[float, ...] = field(
        metadata=_prior(
            "section_shape.sd", lobes, "of a log known by tape: size, centre and lobes, of the radius, a list", tuple
        )
    )
    section_spread: float = field(
        metadata=_prior("section_shape.spread", spread(3.0), "of the logarithm of each: most logs are rounder")
    )
    sweep_unseen: float = field(
        metadata=_prior("sweep_unseen.sd", spread(0.2), "largest bow where no string was stretched, of the length")
    )
    string_error: float = field(metadata=_prior("string_error.sd", _LENGTH, "of the sweep by a string"))
    spiral_mean: float = field(
        metadata=_prior(
            "spiral.mean_deg",
            number(at_least=-45.0, at_most=45.0, what="angle in degrees"),
            "spiral grain on average",
            math.radians,
        )
    )
    spiral_sd: float = field(metadata=_prior("spiral.sd_deg", spread(45.0), "and its spread", math.radians))
    knots_per_m2: float = field(metadata=_prior("hidden_knots.per_m2", times, "knots grown over, by bark surface"))
    knot_diameter: float = field(metadata=_prior("hidden_knots.diameter", _POSITIVE, "their median diameter"))
    knot_spread: float = field(metadata=_prior("hidden_knots.spread", spread(3.0), "of its logarithm"))
    suspected_real: float = field(
        metadata=_prior("hidden_knots.suspected_real", share, "chance that a suspected knot is one")
    )
    metal_forest: float = field(metadata=_prior("metal.forest", share, "chance of metal in a forest tree"))
    metal_yard: float = field(metadata=_prior("metal.yard", share, "in a yard or fence-line tree"))
    metal_stained: float = field(metadata=_prior("metal.stained", share, "where an end is stained"))
    metal_diameter: float = field(metadata=_prior("metal.diameter", _POSITIVE, "wood that it spoils"))
    checks_per_end: float = field(metadata=_prior("end_checks.per_end", times, "checks at each end"))
    check_length: float = field(metadata=_prior("end_checks.length", _LENGTH, "how far they reach in when felled"))
    check_growth: float = field(
        metadata=_prior(
            "end_checks.first_month",
            _LENGTH,
            "and further in the first month; in n months the square root of n times that",
        )
    )
    check_coated: float = field(metadata=_prior("end_checks.coated", share, "share of it where ends were coated"))
    check_spread: float = field(metadata=_prior("end_checks.spread", spread(3.0), "of the length's logarithm"))
    rot_share: float = field(metadata=_prior("rot.share", share, "chance of rot at the heart of the butt"))
    rot_diameter: float = field(metadata=_prior("rot.diameter", _POSITIVE, "its median diameter"))
    rot_length: float = field(metadata=_prior("rot.length", _POSITIVE, "its median length"))
    rot_spread: float = field(metadata=_prior("rot.spread", spread(3.0), "of both logarithms"))
    figure_share: float = field(metadata=_prior("figure.share", share, "chance of figure that nobody has seen"))
    figure_factor: float = field(
        metadata=_prior("figure.factor", number(at_least=1.0, what="factor"), "median of what it makes of prices")
    )
    figure_spread: float = field(
        metadata=_prior("figure.spread", spread(3.0), "of the logarithm of what goes beyond 1")
    )
    figure_reach: float = field(metadata=_prior("figure.reach", share, "share of the log's plates that have it"))
    other_buyer: OtherBuyer = field(default=NO_BUYER, metadata=table("alternatives", OtherBuyer, required=False))

    @property
    def end_checks(self) -> EndChecks:
        """How far end checks reach in, by time."""
        return EndChecks(self.check_length, self.check_growth, self.check_coated)

    @property
    def metal(self) -> MetalChances:
        """How likely a log holds metal."""
        return MetalChances(self.metal_forest, self.metal_yard, self.metal_stained)


def _with_sources(known: Table) -> Table:
    """The keys of a priors file; each prior must also say where it comes from."""
    told = {"standing": Key(one_of(*STANDINGS), required=True), "source": Key(text, required=True)}
    priors = known.keys["prior"]
    assert isinstance(priors, Table)
    told_of = {
        name: Table({**prior.keys, **told}, True) for name, prior in priors.keys.items() if isinstance(prior, Table)
    }
    buyer = known.keys["alternatives"]
    assert isinstance(buyer, Table)
    return Table(
        {**known.keys, "prior": Table(told_of, True), "alternatives": Table({**buyer.keys, **told}, False)},
        known.required,
    )


PRIORS = _with_sources(known_keys(Priors))
"""Tables and keys of the file."""


def read_priors(path: str | Path | None = None) -> Priors:
    """Read, check and freeze a priors file; the bundled one where `path` is None."""
    return freeze(Priors, priors_as_read(path))


def priors_as_read(path: str | Path | None = None) -> dict[str, Any]:
    """The file's tables as read: lengths in mm, angles in degrees."""
    path = bundled(DEFAULT) if path is None else path
    values = read_toml(path, PRIORS)
    inches = [one["inches"] for one in values.get("alternatives", {}).get("class", ())]
    if inches != sorted(set(inches)):
        tell(path, ["[[alternatives.class]] must rise in inches, each class once; put them in order."])
    return values
