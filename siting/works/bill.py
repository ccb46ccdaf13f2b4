"""What the work costs: prices times quantities, low, likely and high; by site and in all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from siting.values.columns import Columns
from siting.values.wording import figures, listed
from siting.works.costs import Costs
from siting.works.quantities import (
    ALL_SITES,
    CHOSEN_SITES,
    ITEM_NAMES,
    Quantities,
    texts,
)
from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only
from terrain.values.errors import ParameterError

#: Lines of a bill: the materials, then these, then what is priced as a whole.
HAUL, LABOUR = "haul", "labour"


@dataclass(frozen=True, slots=True, eq=False)
class Bill:
    """Costs of n sites by line.

    Low, likely and high add up line by line and site by site. Low of a sum is thus what it costs
    if everything is cheap and quick at once: a range that the truth is unlikely to leave, not a
    confidence.

    Parameters
    ----------
    site_id, built
        As in `siting.works.quantities.Quantities`, shape ``(n,)``.
    lines
        Names of the lines.
    quantity
        What is paid for, in the units of ``units``, likely; shape ``(n, lines)``. Where nobody saw
        a channel's width, at the end of it that takes more.
    ranges
        Where a quantity depends on a width that nobody saw, shape ``(n, lines)``.
    money
        Low, likely, high, shape ``(n, lines, 3)``.
    units
        Unit of each line.
    currency
        As a person writes it.
    notes
        Sentences on what the sums hold and do not hold.
    """

    site_id: IntArray
    built: BoolArray
    lines: tuple[str, ...]
    quantity: FloatArray
    ranges: BoolArray
    money: FloatArray
    units: tuple[str, ...]
    currency: str
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        for array in (self.site_id, self.built, self.quantity, self.ranges, self.money):
            read_only(array)

    @property
    def by_site(self) -> FloatArray:
        """Low, likely, high of each site, shape ``(n, 3)``; NaN where nothing is built."""
        return np.where(self.built[:, None], self.money.sum(axis=1), np.nan)

    def total(self, which: BoolArray | None = None) -> FloatArray:
        """Sum over some sites, all by default: low, likely, high."""
        return np.asarray(self.by_site[self._among(which)].sum(axis=0))

    def _among(self, which: BoolArray | None) -> BoolArray:
        return self.built if which is None else self.built & which


def bill(found: Quantities, costs: Costs) -> Bill:
    """Price what sites take.

    Where nobody saw a channel's width, low is the end of it that takes less, likely and high the
    other one.

    Materials are paid for with spare. Haul is paid by the share of a truck that goes to a site, so
    that the sums over sites hold; what half-empty trucks add is said in the notes. Labour is paid
    by the person-day: its low is few days at low pay. A structure priced as a whole costs its
    price, and its earthwork nothing besides.
    """
    n = found.site_id.size
    names = [f"items.{name}" for name in ITEM_NAMES]
    names += ["haul.load", "labour.person_day", *(f"whole.{entry}" for entry in costs.wholes)]
    ordered = found.with_spare.copy()
    ordered[found.whole != "", ITEM_NAMES.index("fill")] = 0.0
    loads = np.nansum(found.loads, axis=1)
    each = (found.whole[:, None] == np.array(costs.wholes, dtype=object)).astype(np.float64)
    lines = (*ITEM_NAMES, HAUL, LABOUR, *costs.wholes)
    quantity = np.column_stack([ordered, loads, found.paid_days[:, 1], each])
    money = quantity[:, :, None] * np.stack([costs.today(name) for name in names])
    least = _least(found, quantity, lines)
    money[:, :, 0] = least * np.stack([costs.today(name)[0] for name in names])
    money[:, lines.index(LABOUR)] = found.paid_days * costs.today("labour.person_day")
    return Bill(
        site_id=found.site_id,
        built=found.built,
        lines=lines,
        quantity=np.where(found.built[:, None], quantity, 0.0).reshape(n, len(lines)),
        ranges=found.built[:, None] & (least < quantity - 1e-9),
        money=np.where(found.built[:, None, None], money, 0.0).reshape(n, len(lines), 3),
        units=tuple(costs[name].unit for name in names),
        currency=costs.currency,
        notes=_notes(found, costs),
    )


def _least(found: Quantities, quantity: FloatArray, lines: tuple[str, ...]) -> FloatArray:
    """What is paid for at the end of an unseen width that takes less; haul and days in step."""
    out = quantity.copy()
    ordered = found.least_with_spare.copy()
    ordered[found.whole != "", ITEM_NAMES.index("fill")] = 0.0
    out[:, : len(ITEM_NAMES)] = ordered
    some = found.with_spare > 0
    share = np.where(some, found.least_with_spare / np.where(some, found.with_spare, 1.0), 1.0)
    # loads rise in step with what is brought
    out[:, lines.index(HAUL)] = np.nansum(share * found.loads, axis=1)
    seen = (found.least == found.amount).all(axis=1)
    labour = lines.index(LABOUR)
    out[:, labour] = np.where(seen, quantity[:, labour], found.paid_days[:, 0])
    return out


def _notes(found: Quantities, costs: Costs) -> tuple[str, ...]:
    out = [
        "Low and high add up the low and the high figures: a range, not a confidence. Most prices "
        "are round figures without a published source."
    ]
    shared = float(np.nansum(found.loads[found.built]))
    started = float(np.nansum(found.total()[2]))
    more = (started - shared) * float(costs.today("haul.load")[1])
    # an empty truck's part below a tenth of a load is not worth a sentence
    if started - shared >= 0.1:
        out.append(
            f"Haul counts {figures(shared)} truck loads; paid in full, the {started:.0f} loads "
            f"that are started cost about {figures(more)} {costs.currency} more."
        )
    return tuple(out)


def beside_published(one_low: float, one_high: float, costs: Costs) -> str:
    """Say how the cost of a one-rock dam compares with the published range; empty without one.

    Parameters
    ----------
    one_low, one_high
        Low and high cost of a typical one, in the currency of the figures.

    Raises
    ------
    ParameterError
        Low is above high.
    """
    if not one_low <= one_high:
        raise ParameterError(f"a cost of {one_low:g} to {one_high:g}", expected="low up to high")
    known = costs.figures.get("compare.check_dam")
    if known is None:
        return ""
    low, _, high = costs.today("compare.check_dam")
    if one_high < low:
        how = "below"
    elif one_low > high:
        how = "above"
    else:
        how = "overlapping"
    today = ""
    if known.year:
        today = (
            f", {low:.0f} to {high:.0f} in today's money ({brought_to_today(known.name, costs)})"
        )
    return (
        f"A one-rock dam here costs {figures(one_low)} to {figures(one_high)} {costs.currency} "
        f"(medians), {how} the published {known.low:g} to {known.high:g} for a small check dam "
        f"after a fire{today}."
    )


def brought_to_today(name: str, costs: Costs) -> str:
    """Say by what a price of a year was brought to today's; empty where it is of today."""
    index = costs.index_of(name)
    if index is None:
        return ""
    return (
        f"prices of {costs[name].year} times {index.likely:g}: {index.meaning[0].lower()}"
        f"{index.meaning[1:]}, {index.basis}"
    )


def whole_sentence(named: Sequence[str], name: str, costs: Costs) -> str:
    """Say what stands behind the price of structures that are priced as a whole.

    Parameters
    ----------
    named
        What they are called, in the plural.
    name
        The figure, such as ``whole.rolling_dip``.
    costs
        All figures.
    """
    own = name in costs.changed or costs[name].basis != "published"
    by = f"by the price in {costs.origin}" if own else "by a published range"
    today = brought_to_today(name, costs)
    more = f" ({today})" if today else ""
    return f"{listed(list(named)).capitalize()} are priced as a whole, {by}{more}."


def cost_columns(found: Bill, chosen: BoolArray | None = None) -> Columns:
    """Rows of the table ``costs``: all sites first, then site by site; each ends with ``total``.

    Parameters
    ----------
    found
        The costs.
    chosen
        Sites that a budget has chosen, shape ``(n,)``; their sums then stand under site
        `CHOSEN_SITES`. Without it there are no such rows.

    Returns
    -------
    dict
        ``site_id`` (`ALL_SITES` for the sums), ``item``, ``quantity`` (empty where it depends on a
        width that nobody saw), ``unit``, ``low``, ``likely``, ``high``.
    """
    quantity = np.where(found.ranges, np.nan, found.quantity)
    blocks = [(ALL_SITES, quantity.sum(axis=0), found.money.sum(axis=0))]
    if chosen is not None:
        among = found.built & chosen
        blocks.append((CHOSEN_SITES, quantity[among].sum(axis=0), found.money[among].sum(axis=0)))
    blocks += [
        (int(found.site_id[i]), quantity[i], found.money[i]) for i in np.flatnonzero(found.built)
    ]
    ids: list[int] = []
    items: list[str] = []
    units: list[str] = []
    numbers: list[Sequence[float]] = []
    for number, counted, money in blocks:
        lines = np.flatnonzero((counted > 0) | np.isnan(counted))
        ids += [number] * (lines.size + 1)
        items += [*(found.lines[k] for k in lines), "total"]
        units += [*(found.units[k] for k in lines), found.currency]
        numbers += [(counted[k], *money[k]) for k in lines]
        numbers.append((np.nan, *money.sum(axis=0)))
    values = np.array(numbers, dtype=np.float64).reshape(-1, 4)
    return {
        "site_id": np.array(ids, dtype=np.int64),
        "item": texts(items),
        "quantity": values[:, 0],
        "unit": texts(units),
        "low": values[:, 1],
        "likely": values[:, 2],
        "high": values[:, 3],
    }
