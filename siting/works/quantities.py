"""What the structures take: materials with spare, truck loads, days of work; by site and in all."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.structures.structure_type import ITEMS, Amount
from siting.values.columns import Columns
from siting.works.costs import Costs
from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only
from terrain.values.errors import ParameterError

#: Order of the items in every array of this module.
ITEM_NAMES = tuple(ITEMS)
#: Spare on what is ordered, as a share, unless told otherwise: keys and gaps are easily counted
#: short (0.15 to 0.25 is common practice, no published source).
SPARE = 0.20
#: People in a crew unless told otherwise (common practice).
CREW_SIZE = 4
#: What is not ordered and needs no spare.
NOT_ORDERED = frozenset({"fill"})
#: What trucks bring.
TRUCKED = frozenset({"stone_small", "stone_medium", "stone_large", "gravel"})
#: Site numbers of the rows that stand for all sites and for the chosen ones.
ALL_SITES, CHOSEN_SITES = 0, -1
_PIECES = np.array([unit == "pieces" for unit, _ in ITEMS.values()])


@dataclass(frozen=True, slots=True, eq=False)
class Quantities:
    """What n sites take; items in the order of `ITEM_NAMES`, in the units of `ITEMS`.

    Parameters
    ----------
    site_id
        Shape ``(n,)``.
    built
        Whether anything is built there by hand; False where a site is referred, shape ``(n,)``.
    amount, with_spare
        Without and with spare; what is counted in pieces is whole with spare. Shape ``(n, 13)``.
        Where nobody saw a channel's width, at the end of it that takes more: so a budget counts.
    least, least_with_spare
        The same at the end that takes less; the same numbers where the width was seen.
    loads
        Truck loads, not rounded, because sites share a truck; NaN for what no truck brings. Shape
        ``(n, 13)``.
    whole
        By which entry of the costs a structure is priced as a whole; '' for one that is not. Object
        array of texts, shape ``(n,)``.
    paid_days, other_days
        Person-days of work, low, likely, high: those that are paid by the day, and those in the
        price of a whole structure. Shape ``(n, 3)``.
    crew_size
        People who share the work.
    note
        What each item is for, object array of texts, shape ``(n, 13)``.
    """

    site_id: IntArray
    built: BoolArray
    amount: FloatArray
    with_spare: FloatArray
    least: FloatArray
    least_with_spare: FloatArray
    loads: FloatArray
    whole: NDArray[Any]
    paid_days: FloatArray
    other_days: FloatArray
    crew_size: int
    note: NDArray[Any]

    def __post_init__(self) -> None:
        for name in self.__slots__:
            value = getattr(self, name)
            if isinstance(value, np.ndarray):
                read_only(value)

    @property
    def ranges(self) -> BoolArray:
        """Where amounts are a range, since nobody saw the width, shape ``(n,)``."""
        return np.asarray((self.least != self.amount).any(axis=1))

    @property
    def crew_days(self) -> FloatArray:
        """Days of a crew, low, likely, high, shape ``(n, 3)``; NaN where nothing is built."""
        days = (self.paid_days + self.other_days) / self.crew_size
        return np.where(self.built[:, None], days, np.nan)

    def crew_days_of(self, which: BoolArray | None = None) -> FloatArray:
        """Sum the crew days over some sites, all by default: low, likely, high."""
        return np.asarray(self.crew_days[self._among(which)].sum(axis=0))

    def total(self, which: BoolArray | None = None) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Sum over some sites, all by default.

        Returns
        -------
        tuple
            Amount, amount with spare, and whole truck loads (NaN for what no truck brings), each
            of shape ``(13,)``.
        """
        among = self._among(which)
        loads = np.ceil(np.round(self.loads[among].sum(axis=0), 9))
        loads = np.where(_trucked(), loads, np.nan)
        return self.amount[among].sum(axis=0), self.with_spare[among].sum(axis=0), loads

    def _among(self, which: BoolArray | None) -> BoolArray:
        return self.built if which is None else self.built & which


def quantities(
    amounts: Sequence[Sequence[Amount]],
    *,
    site_id: Sequence[int] | IntArray,
    whole: Sequence[str],
    costs: Costs,
    spare: float = SPARE,
    crew_size: int = CREW_SIZE,
    other_end: Mapping[int, Sequence[Amount]] = MappingProxyType({}),
) -> Quantities:
    """Count what sites take.

    Work is counted on the amounts without spare; the range of productivity covers what is placed
    besides. To it comes a fixed share of a day at every site (``work.sites``). The earthwork of a
    structure that is priced as a whole takes its own time in place of digging.

    Parameters
    ----------
    amounts
        For each site what its structure takes, without spare; empty where nothing is built.
    site_id
        Number of each site, ``(n,)``.
    whole
        By what each is priced as a whole, ``(n,)``: see `StructureType.priced_whole`.
    costs
        Productivity and truck loads.
    spare
        Added to what is ordered, as a share; usually `SPARE`.
    crew_size
        People in a crew.
    other_end
        Of sites (0 for the first) whose channel's width nobody saw what the structure takes at the
        other end of that width.

    Raises
    ------
    ParameterError
        An unknown item, an amount below 0 or not a number, lengths that differ, a spare outside 0
        to 1, or a crew of nobody.
    """
    if not 0 <= spare <= 1:
        raise ParameterError(f"spare is {spare:g}", expected="a share of 0 to 1, such as 0.2")
    if isinstance(crew_size, bool) or not isinstance(crew_size, int) or crew_size < 1:
        raise ParameterError(f"a crew of {crew_size}", expected="1 person or more")
    if not len(amounts) == len(site_id) == len(whole):
        raise ParameterError(
            f"{len(amounts)} lists of amounts, {len(site_id)} site numbers, "
            f"{len(whole)} entries of whole structures",
            expected="one of each for every site",
        )
    amount, note = _gathered(amounts, site_id)
    other = [other_end.get(i, own) for i, own in enumerate(amounts)]
    at_other, _ = _gathered(other, site_id)
    amount, least = np.maximum(amount, at_other), np.minimum(amount, at_other)
    has_any = np.array([bool(given) for given in amounts], dtype=np.bool_)
    as_whole = np.where(has_any, np.array(whole, dtype=object), "")
    with_spare = _with_spare(amount, spare)
    paid, whole_days = _person_days(amount, has_any, as_whole, costs)
    # few days are those of the least
    paid[:, 0] = _person_days(least, has_any, as_whole, costs)[0][:, 0]
    return Quantities(
        site_id=np.array(site_id, dtype=np.int64),
        built=has_any,
        amount=amount,
        with_spare=with_spare,
        least=least,
        least_with_spare=_with_spare(least, spare),
        loads=_loads(with_spare, costs),
        whole=as_whole,
        paid_days=paid,
        other_days=whole_days,
        crew_size=crew_size,
        note=note,
    )


def _gathered(
    amounts: Sequence[Sequence[Amount]], site_id: Sequence[int] | IntArray
) -> tuple[FloatArray, NDArray[Any]]:
    """Sum the amounts of each item at each site, and join what they are for."""
    shape = (len(amounts), len(ITEM_NAMES))
    out, notes = np.zeros(shape), np.full(shape, "", dtype=object)
    for i, given in enumerate(amounts):
        for one in given:
            if one.item not in ITEMS:
                raise ParameterError(
                    f"site {site_id[i]} asks for '{one.item}', which is not known",
                    expected="one of " + ", ".join(ITEMS),
                )
            if not math.isfinite(one.amount) or one.amount < 0:
                raise ParameterError(
                    f"site {site_id[i]} asks for {one.amount:g} {ITEMS[one.item][0]} of {one.item}",
                    expected="an amount of 0 or more",
                )
            k = ITEM_NAMES.index(one.item)
            out[i, k] += one.amount
            if one.note and one.note not in notes[i, k].split("; "):
                notes[i, k] = "; ".join(filter(None, (notes[i, k], one.note)))
    return out, notes


def _with_spare(amount: FloatArray, spare: float) -> FloatArray:
    ordered = np.array([name not in NOT_ORDERED for name in ITEM_NAMES])
    out = amount * (1.0 + spare * ordered)
    # rounding first keeps 12.000000000000002 posts from becoming 13
    return np.where(_PIECES, np.ceil(np.round(out, 9)), out)


def _trucked() -> BoolArray:
    return np.array([name in TRUCKED for name in ITEM_NAMES])


def _loads(with_spare: FloatArray, costs: Costs) -> FloatArray:
    """Truck loads at the likely load; gravel is weighed first."""
    tonnes = np.array([costs["loads.gravel"].likely if n == "gravel" else 1.0 for n in ITEM_NAMES])
    return np.where(_trucked(), with_spare * tonnes / costs["loads.truck"].likely, np.nan)


def _person_days(
    amount: FloatArray, built: BoolArray, whole: NDArray[Any], costs: Costs
) -> tuple[FloatArray, FloatArray]:
    """Person-days paid by the day, and those in the price of a whole structure."""
    by_hand = amount.copy()
    by_hand[whole != "", ITEM_NAMES.index("fill")] = 0.0
    # quick work makes few days: the high productivity gives the low number of days
    days = np.stack([1.0 / costs[f"work.{name}"].levels[::-1] for name in ITEM_NAMES])
    paid = by_hand @ days + built[:, None] / costs["work.sites"].levels[::-1]
    other = np.zeros_like(paid)
    for entry in sorted({*whole} - {""}):
        other += (whole == entry)[:, None] / costs[f"work.{entry}"].levels[::-1]
    return paid, other


def material_columns(found: Quantities, chosen: BoolArray | None = None) -> Columns:
    """Rows of the table ``materials``: all sites first, then site by site.

    Parameters
    ----------
    found
        What the sites take.
    chosen
        Sites that a budget has chosen, shape ``(n,)``; their sums then stand under site
        `CHOSEN_SITES`. Without it there are no such rows.

    Returns
    -------
    dict
        ``site_id`` (`ALL_SITES` for the sums), ``item``, ``meaning``, ``amount``, ``unit``,
        ``amount_with_spare`` (both empty where they are a range, since nobody saw a width),
        ``amount_low``, ``amount_high``, ``spare_low``, ``spare_high``, ``loads`` (at the high end;
        whole in the sums, a share of a load at a site), ``note``.
    """
    blocks = [(ALL_SITES, found.built)]
    if chosen is not None:
        blocks.append((CHOSEN_SITES, found.built & chosen))
    ids, items, figures, notes = [], [], [], []
    for number, among in blocks:
        ends = [
            column[among].sum(axis=0)
            for column in (found.least, found.amount, found.least_with_spare, found.with_spare)
        ]
        loads = found.total(among)[2]
        for k in np.flatnonzero(ends[1] > 0):
            ids.append(number)
            items.append(int(k))
            figures.append((*(end[k] for end in ends), loads[k]))
            notes.append("whole truck loads" if np.isfinite(loads[k]) else "")
    for i, k in zip(*np.nonzero((found.amount > 0) & found.built[:, None]), strict=True):
        ids.append(int(found.site_id[i]))
        items.append(int(k))
        of_site = (found.least, found.amount, found.least_with_spare, found.with_spare, found.loads)
        figures.append(tuple(column[i, k] for column in of_site))
        notes.append(found.note[i, k])
    least, most, spare_low, spare_high, loads = np.array(figures, dtype=np.float64).reshape(-1, 5).T
    return {
        "site_id": np.array(ids, dtype=np.int64),
        "item": texts([ITEM_NAMES[k] for k in items]),
        "meaning": texts([ITEMS[ITEM_NAMES[k]][1] for k in items]),
        "amount": one_number(least, most),
        "amount_low": least,
        "amount_high": most,
        "unit": texts([ITEMS[ITEM_NAMES[k]][0] for k in items]),
        "amount_with_spare": one_number(spare_low, spare_high),
        "spare_low": spare_low,
        "spare_high": spare_high,
        "loads": loads,
        "note": texts(notes),
    }


def one_number(low: FloatArray, high: FloatArray) -> FloatArray:
    """What is the same at both ends; NaN where it is a range."""
    return np.where(np.isclose(low, high, rtol=1e-9, atol=0.0), high, np.nan)


def texts(values: Sequence[str]) -> NDArray[Any]:
    """Return texts as an object array ``(n,)``, empty ones as None."""
    out = np.empty(len(values), dtype=object)
    out[:] = [value or None for value in values]
    return out
