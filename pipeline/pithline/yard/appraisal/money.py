"""What a log brings and costs, and the highest bid that leaves the margin asked for."""

from __future__ import annotations

from dataclasses import dataclass

from pithline.files.priors import Money

M3 = 1e9
MONTHS_A_YEAR = 12.0


@dataclass(frozen=True, slots=True)
class Costs:
    """What a log costs besides its price, on average. In the priors' currency."""

    sawing: float
    drying: float
    metal: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.sawing + self.drying + self.metal


def sawing_cost(minutes: float, hour_rate: float) -> float:
    """Minutes of all settings at the mill's hourly rate."""
    return minutes / 60.0 * hour_rate


def drying_cost(plates: float, months: float, money: Money) -> float:
    """Room for `plates` mm³ of sawn plates while they dry for so many months."""
    return plates / M3 * money.drying_per_m3_month * months


def rest_value(log_volume: float, plates: float, money: Money) -> float:
    """What the wood outside the plates brings, volumes under bark in mm³; kerf is not taken off."""
    return max(log_volume - plates, 0.0) / M3 * money.rest_per_m3


def highest_bid(sales: float, rest: float, costs: Costs, margin: float, dried: tuple[float, float]) -> float:
    """The highest bid that leaves `margin` of the proceeds.

    ``((1 - margin) (sales + rest) - costs) / (1 + interest · years)``, never below 0: the bid is paid before the wood dries
    and its interest is lost until then.

    Parameters
    ----------
    sales, rest : float
        Expected proceeds of sets and plates, and of the rest.
    costs : Costs
        On average.
    margin : float
        Share of the proceeds that stays with the mill, 0 to 1.
    dried : (months, percent)
        How long the wood dries, and interest a year.
    """
    months, percent = dried
    years = months / MONTHS_A_YEAR
    return max(((1.0 - margin) * (sales + rest) - costs.total) / (1.0 + percent / 100.0 * years), 0.0)
