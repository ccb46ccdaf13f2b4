"""What gives way first at a structure and beside it, and whether its banks stand, in sentences."""

from __future__ import annotations

import math

from siting.hydraulics.resistance import covers, soils
from siting.places.spot import Spot
from siting.structures.bed_and_bank import BankStands, BedAndBank, Stands
from siting.values.wording import between, first_upper, metres, quantity

KEEP_AWAY = "Keep people away from undercut banks."
_PLACES = {
    "above": "the bed above",
    "structure": "the stone on the bed",
    "ends": "the stone at the ends",
    "below": "the bed below",
}


def first_words(spot: Spot, found: BedAndBank) -> tuple[str, ...]:
    """What gives way first in the likely flow, and what would hold it; nothing without a flow."""
    row = found.first
    if row is None:
        return ()
    where = _PLACES[row.where]
    if row.least_ratio > 1:
        says = f"{first_upper(where)} gives way first"
    elif row.most_ratio > 1:
        says = f"{first_upper(where)} may give way first"
    else:
        says = f"Nothing gives way; {where} comes nearest to it"
    flow = f"the {spot.floods.design_period_yr:g}-year flow"
    bound = ", an upper bound since it leaves the channel" if row.upper_bound else ""
    first = (
        f"{says}: {flow} pulls {_on(row)} with {quantity(row.shear_pa, 'Pa')} at "
        f"{quantity(row.velocity_mps, 'm/s')} there{bound}, and {_what(row)} stands {_stands(row)}."
    )
    return (first, *((_holds(row),) if row.most_ratio > 1 else ()))


def row_words(row: Stands) -> str:
    """One thing that the flow pulls on, and what it stands."""
    return (
        f"The flow pulls {_on(row)} with {quantity(row.shear_pa, 'Pa')} at "
        f"{quantity(row.velocity_mps, 'm/s')}; {_what(row)} stands {_stands(row)}."
    )


def _on(row: Stands) -> str:
    """Where it pulls: not the mean over bed and banks, which is less."""
    return "on the banks" if row.where == "ends" else "on the deepest bed"


def _what(row: Stands) -> str:
    """What it is that the flow pulls on; stone with its size."""
    if not math.isfinite(row.d50_m):
        return row.resists.words
    return row.resists.words.replace("stone", f"stone of {metres(row.d50_m)}", 1)


def bank_words(spot: Spot, bank: BankStands) -> str:
    """Whether the lower bank stands by itself."""
    high = metres(bank.height_m)
    height = f"The lower bank is {high} high"
    if bank.stands is None:
        return f"{height}; whether it stands by itself is not known, since nobody told its soil."
    soil = soils()[spot.earth.soil]
    if not bank.stands.drained_m:
        return (
            f"{height}; {soil.words} has no cohesion to stand upright, and lies back to "
            f"{soil.friction_deg:g} degrees."
        )
    ends = (
        f"{metres(bank.stands.wet_m)} soaked and cracked, {metres(bank.stands.drained_m)} drained"
    )
    stands = f"{height}; upright {soil.words} stands {ends}"
    if not bank.falls_when_wet:
        return f"{stands}."
    least = bank.stands.drained_m if bank.falls_drained else bank.stands.wet_m
    near = bank.height_m <= least or high == metres(least)
    within = f", within its error of {metres(bank.error_m)}" if near else ""
    when = "at any time" if bank.falls_drained else "after a flood"
    return f"{stands}: it may fall {when}{within}. {KEEP_AWAY}"


def bed_cautions(spot: Spot, found: BedAndBank) -> tuple[str, ...]:
    """What bed and banks ask care for where something is built."""
    out = []
    for row in found.rows:
        if row.where in ("structure", "ends") and row.least_ratio > 1:
            at = _PLACES[row.where].removeprefix("the ")
            out.append(
                f"The likely flow moves {at}: lay stone of {metres(row.asks_d50_m)} or more there."
            )
    beside = [r for r in found.rows if r.where in ("above", "below") and r.known]
    worst = max(beside, key=lambda r: r.least_ratio, default=None)
    if worst is not None and worst.least_ratio > 1:
        out.append(
            f"The likely flow carries off {_PLACES[worst.where]}, {worst.resists.words}: look "
            "there first after each flow."
        )
    if found.bank is not None and found.bank.falls_when_wet:
        out.append(bank_words(spot, found.bank))
    return tuple(out)


def _stands(row: Stands) -> str:
    """Both ends of the pull and of the speed that something stands."""
    ends = ((row.resists.pull_pa, "Pa"), (row.resists.speed_mps, "m/s"))
    pull, speed = (
        quantity(low, unit) if low == high else between(low, high, unit)
        for (low, high), unit in ends
    )
    return f"{pull} and {speed}"


def _holds(row: Stands) -> str:
    """What would hold there."""
    stone = f"stone of {metres(row.asks_d50_m)} or more"
    if row.where in ("structure", "ends"):
        return f"{first_upper(stone)} would stay there."
    for cover in covers().values():
        if cover.pull_pa[0] >= row.shear_pa and cover.speed_mps[0] >= row.velocity_mps:
            return f"{first_upper(cover.words)} would hold it, and so would {stone}."
    return f"No grass is sure to hold it there; {stone} would."
