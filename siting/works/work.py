"""A work: what one visit builds and what stands or falls together, with what it saves and takes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from siting.values.rules import Rules
from siting.works.curves import Chance
from terrain.values.errors import ParameterError

#: Kinds of works, in plain words.
HEADCUT, SERIES, SPREADER, SWALE, ROAD = "headcut", "series", "spreader", "swale", "road"
KIND_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        HEADCUT: "a headcut with its controls",
        SERIES: "a series that holds a cut bed",
        SPREADER: "spreaders",
        SWALE: "grade controls in a swale",
        ROAD: "dips of one stretch of road",
    }
)
#: What works are ranked by.
RANK_BY = ("cost", "crew-days", "most-saved")
#: What is saved is told for so much money.
PER_MONEY = 1000.0
LONGEST_HORIZON_YR = 100.0


@dataclass(frozen=True, slots=True)
class Judging:
    """How works are judged.

    Parameters
    ----------
    horizon_yr
        Time over which losses and chances are counted; None takes that of the limits.
    rank_by
        One of `RANK_BY`: what is saved for the likely cost, for a crew's day, or in all.

    Raises
    ------
    ParameterError
        A horizon outside of 1 to 100 years, or another order.
    """

    horizon_yr: float | None = None
    rank_by: str = RANK_BY[0]

    def __post_init__(self) -> None:
        years = self.horizon_yr
        if years is not None and not 1.0 <= years <= LONGEST_HORIZON_YR:
            raise ParameterError(
                f"a horizon of {years:g} years", expected=f"1 to {LONGEST_HORIZON_YR:g}"
            )
        if self.rank_by not in RANK_BY:
            raise ParameterError(f"an order by {self.rank_by!r}", expected=", ".join(RANK_BY))

    def years(self, rules: Rules) -> float:
        """The horizon, years."""
        return rules.value("works.horizon") if self.horizon_yr is None else self.horizon_yr


@dataclass(frozen=True, slots=True)
class Loss:
    """What would be lost at one place within the horizon, if it is lost.

    Parameters
    ----------
    row
        Row of the site at which it is counted.
    soil_m3, swale_ha, length_m
        Soil, whole swale floor, and channel that is cut or cut deeper.
    chance
        Chance that it is lost, of the years that the limits name.
    chance_lost
        The same over the horizon.
    how
        How the amounts came about, in sentences.
    """

    row: int
    soil_m3: float
    swale_ha: float
    length_m: float
    chance: Chance
    chance_lost: float
    how: str


@dataclass(frozen=True, slots=True)
class Takings:
    """What a work takes.

    Parameters
    ----------
    cost_low, cost_likely, cost_high, crew_days
        Cost, and likely days of a crew.
    counted
        Cost that a budget counts: the likely one, but the high one of sites whose width nobody saw.
    crew_days_low, crew_days_high
        Ends of the days.
    width_unseen
        Whether nobody saw the width at one of its sites: the likely cost and days are then those
        at the widest, and only the ends may be told.
    """

    cost_low: float
    cost_likely: float
    cost_high: float
    crew_days: float
    counted: float
    crew_days_low: float
    crew_days_high: float
    width_unseen: bool = False

    @property
    def cost_words(self) -> str:
        """The likely cost; the range where nobody saw a width."""
        if self.width_unseen:
            return f"{self.cost_low:,.0f} to {self.cost_high:,.0f}"
        return f"{self.cost_likely:,.0f}"


@dataclass(frozen=True, slots=True)
class Work:
    """One work.

    Parameters
    ----------
    id
        Number of the work, counted by its first site; the same input gives the same.
    kind
        One of `KIND_WORDS`.
    rows
        Its sites, as rows, in the order of building.
    lowest
        The lowest of them.
    losses
        What would be lost without it.
    holds
        Chance that it holds over the horizon.
    share_made_up
        Share of the rise to the foot of a drop that the crests below make up; 1 where none has to.
    takings
        What it takes.
    swale_worth
        Soil that counts as much as a hectare of whole swale floor, m3 a ha.
    least_share
        A pair that makes up less does not work.
    least_saved_m3
        A work that saves less saves nothing.
    needs
        Numbers of works below it that have to stand first.
    without
        What rest, planting or moving a road's water alone would do, as practice.
    base_of
        Numbers of works that it keeps a head from coming up to, where it saves nothing of its own.
    """

    id: int
    kind: str
    rows: tuple[int, ...]
    lowest: int
    losses: tuple[Loss, ...]
    holds: Chance
    share_made_up: float
    takings: Takings
    swale_worth: float
    least_share: float
    least_saved_m3: float
    needs: tuple[int, ...]
    without: str
    base_of: tuple[int, ...] = ()

    @property
    def site_ids(self) -> tuple[int, ...]:
        """Numbers of its sites in the order of building."""
        return tuple(row + 1 for row in self.rows)

    @property
    def soil_lost_m3(self) -> float:
        """Soil that would be lost without it, if it is lost."""
        return math.fsum(loss.soil_m3 for loss in self.losses)

    @property
    def swale_lost_ha(self) -> float:
        """Whole swale floor that would be lost without it, if it is lost."""
        return math.fsum(loss.swale_ha for loss in self.losses)

    @property
    def lost_m3(self) -> float:
        """Both together, counted as soil."""
        return self.worth_m3(self.soil_lost_m3, self.swale_lost_ha)

    @property
    def channel_held_m(self) -> float:
        """Channel that it keeps from being cut, or cut deeper."""
        return math.fsum(loss.length_m for loss in self.losses)

    @property
    def chance_lost(self) -> float:
        """Chance that it is lost; of several places the mean, weighted by what each would lose."""
        amounts = [self.worth_m3(loss.soil_m3, loss.swale_ha) for loss in self.losses]
        total = math.fsum(amounts)
        if not self.losses:
            return 0.0
        if total <= 0:
            return math.fsum(loss.chance_lost for loss in self.losses) / len(self.losses)
        both = zip(self.losses, amounts, strict=True)
        return math.fsum(loss.chance_lost * amount for loss, amount in both) / total

    @property
    def chance_holds(self) -> float:
        """Chance that it holds."""
        return self.holds.value

    @property
    def soil_saved_m3(self) -> float:
        """Soil that it saves: what would be lost, times both chances."""
        lost = math.fsum(loss.soil_m3 * loss.chance_lost for loss in self.losses)
        return lost * self.chance_holds

    @property
    def swale_saved_ha(self) -> float:
        """Swale floor that it saves likewise."""
        lost = math.fsum(loss.swale_ha * loss.chance_lost for loss in self.losses)
        return lost * self.chance_holds

    @property
    def saved_m3(self) -> float:
        """Both together, counted as soil."""
        return self.worth_m3(self.soil_saved_m3, self.swale_saved_ha)

    @property
    def saved_per_cost(self) -> float:
        """What is saved for each `PER_MONEY` of likely cost."""
        return _per(self.saved_m3, self.takings.cost_likely) * PER_MONEY

    @property
    def saved_per_crew_day(self) -> float:
        """What is saved for each day of a crew."""
        return _per(self.saved_m3, self.takings.crew_days)

    @property
    def functions(self) -> bool:
        """Whether it can do what it is for: the crests below a drop reach far enough."""
        return self.share_made_up >= self.least_share

    @property
    def saves(self) -> bool:
        """Whether it saves enough to speak of."""
        return self.saved_m3 > 0 and self.saved_m3 >= self.least_saved_m3

    @property
    def is_worth_it(self) -> bool:
        """Whether a budget may buy it: it works, and saves something, itself or as a base."""
        return self.functions and (self.saves or bool(self.base_of))

    def worth_m3(self, soil_m3: float, swale_ha: float) -> float:
        """Count soil and floor together, as soil."""
        return soil_m3 + self.swale_worth * swale_ha


def _per(amount: float, of: float) -> float:
    return amount / of if of > 0 else 0.0
