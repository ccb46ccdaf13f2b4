"""Pull and speed of the likely flow against what stone, bed and banks stand: what gives way first.

At the structure its own stone counts, on the bed and carried up the banks; in the channel above and
below it the bare soil, or what grows on it. Nothing here refuses a structure: its own stone is
sized and refused elsewhere (`siting.structures.rock_sizing`); these are cautions.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from siting.hydraulics.bank_height import StandingHeight, standing_height
from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import (
    GRAVITY_MPS2,
    LOWEST_SLOPE,
    FlowState,
    critical_unit_depth_m,
    normal_flow,
)
from siting.hydraulics.resistance import (
    BARE,
    Resistance,
    covers,
    of_stone,
    soils,
    unknown_bare,
)
from siting.hydraulics.stone import shear_d50_m
from siting.hydraulics.stone_on_slopes import (
    bank_factor,
    bank_pull_d50_m,
    bank_pull_share,
    bank_speed_d50_m,
    hec11_d50_m,
)
from siting.places.spot import Spot
from siting.structures.structure_type import Size

Where = Literal["above", "structure", "ends", "below"]
#: Settings whose floors are grown over: what grows there has to be told before it counts as bare.
GROWN_OVER: Final = frozenset({"swale", "wet-meadow candidate", "fan"})


@dataclass(frozen=True, slots=True)
class Stands:
    """One thing that the likely flow pulls on, and what it stands.

    Parameters
    ----------
    where
        ``above`` and ``below`` the structure, the ``structure`` itself, its ``ends`` on the banks.
    shear_pa, velocity_mps
        Pull of the likely flow on the deepest part of the bed, and its speed.
    resists
        What it stands before it gives way.
    known
        Whether it was told what it is; without that the range holds all that it may be.
    upper_bound
        Whether the water leaves the channel, so that pull and speed are less.
    asks_d50_m
        Median stone that would stay there, m.
    d50_m
        Median stone that lies there, m; NaN where none does.
    """

    where: Where
    shear_pa: float
    velocity_mps: float
    resists: Resistance
    asks_d50_m: float
    known: bool = True
    upper_bound: bool = False
    d50_m: float = math.nan

    @property
    def least_ratio(self) -> float:
        """Pull over the most that it may stand, or speed over it, whichever is more."""
        return self._ratio(1)

    @property
    def most_ratio(self) -> float:
        """Pull over the least that it may stand, or speed over it, whichever is more."""
        return self._ratio(0)

    def _ratio(self, end: int) -> float:
        pull = self.shear_pa / self.resists.pull_pa[end]
        return max(pull, self.velocity_mps / self.resists.speed_mps[end])


@dataclass(frozen=True, slots=True)
class BankStands:
    """The lower bank against the height that its soil stands upright.

    Parameters
    ----------
    height_m, error_m
        Of the bank.
    stands
        What such a bank stands; None where nobody told the soil.
    """

    height_m: float
    error_m: float
    stands: StandingHeight | None

    @property
    def falls_when_wet(self) -> bool:
        """Whether it may fall when it is soaked and cracked, at the high end of its error."""
        return self.stands is not None and self.height_m + self.error_m > self.stands.wet_m

    @property
    def falls_drained(self) -> bool:
        """Whether it may fall even drained and whole."""
        return self.stands is not None and self.height_m + self.error_m > self.stands.drained_m


@dataclass(frozen=True, slots=True)
class BedAndBank:
    """What the likely flow pulls on at a structure and beside it.

    Parameters
    ----------
    rows
        Going downstream; empty where no flow is known.
    bank
        The lower bank; None where the elevations do not show it.
    """

    rows: tuple[Stands, ...]
    bank: BankStands | None

    @property
    def first(self) -> Stands | None:
        """What gives way first, or comes nearest to it; None where no flow is known."""
        return max(self.rows, key=lambda row: row.least_ratio, default=None)

    @property
    def structure_ratio(self) -> float | None:
        """Pull over what the structure's own stone stands on the bed; None without stone or flow.

        What is carried up the banks is left out: where it asks for larger stone, a caution says so.
        """
        return next((r.least_ratio for r in self.rows if r.where == "structure"), None)

    @property
    def reach_ratio(self) -> float | None:
        """Pull over the least that the bed above and below stands, None where that is not known.

        Above 1 the bed may give way, far above it it does.
        """
        beside = [row for row in self.rows if row.where not in _OWN]
        known = beside and all(row.known for row in beside)
        return max(row.most_ratio for row in beside) if known else None

    @property
    def least_reach_ratio(self) -> float | None:
        """Pull over the most that the bed above and below may stand, whatever it is made of."""
        beside = (row.least_ratio for row in self.rows if row.where not in _OWN)
        return max(beside, default=None)


_OWN: Final = ("structure", "ends")


def bed_and_bank(spot: Spot, size: Size | None) -> BedAndBank | None:
    """Hold the likely flow at a place against what stone, bed and banks stand.

    Parameters
    ----------
    spot
        The place as measured.
    size
        Of what is built there; None for nothing.

    Returns
    -------
    BedAndBank or None
        None on a road, where no flow is worked out.
    """
    if spot.task.purpose == "road":
        return None
    return BedAndBank(tuple(_rows(spot, size)), _bank(spot))


def _rows(spot: Spot, size: Size | None) -> Iterator[Stands]:
    if not spot.flow_m3s() > 0:
        return
    above = _state(spot, spot.bed.above, spot.beyond.above)
    below = _state(spot, spot.bed.below, spot.beyond.below)
    if above is not None:
        yield _bed_row("above", spot, above)
    if size is not None and size.stone is not None:
        yield from _own_stone(spot, size.stone.d50_m, above, below)
    if below is not None:
        yield _bed_row("below", spot, below)


def _state(spot: Spot, slope: float, section: CrossSection | None = None) -> FlowState | None:
    """Likely flow in a reach; None where it has no slope."""
    if not math.isfinite(slope):
        return None
    return normal_flow(
        section or spot.section,
        spot.flow_m3s(),
        slope=max(slope, LOWEST_SLOPE),
        roughness=spot.roughness,
    )


def _bed_row(where: Where, spot: Spot, state: FlowState) -> Stands:
    resists, known = _bed(spot)
    pull, speed = state.deepest_shear_pa, state.velocity_mps
    return Stands(where, pull, speed, resists, _bed_d50_m(spot, pull), known, state.overtops)


def _own_stone(
    spot: Spot, d50_m: float, above: FlowState | None, below: FlowState | None
) -> Iterator[Stands]:
    """Stone on the bed, at a drop that of the apron at its foot; and where it goes up the banks."""
    at_drop = spot.task.purpose == "vertical"
    here = below if at_drop else _state(spot, spot.slope)
    if here is not None:
        pull, speed = here.deepest_shear_pa, _crest_speed_mps(here)
        shields = spot.rules.value("stone.shields")
        resists = of_stone(d50_m, density=spot.stock.stone_density_kg_m3, shields=shields)
        asks = _bed_d50_m(spot, pull)
        yield Stands("structure", pull, speed, resists, asks, True, here.overtops, d50_m)
    at_ends = above if at_drop else here
    if at_ends is not None and spot.task.purpose != "spread":
        yield _end_row(spot, d50_m, at_ends)


def _bed_d50_m(spot: Spot, pull_pa: float) -> float:
    return shear_d50_m(
        pull_pa,
        density=spot.stock.stone_density_kg_m3,
        shields=spot.rules.value("stone.shields"),
    )


def _crest_speed_mps(state: FlowState) -> float:
    """Speed over a crest: the channel's own, or the critical one where that is faster."""
    critical = math.sqrt(GRAVITY_MPS2 * critical_unit_depth_m(state.unit_flow_m2s))
    return max(state.velocity_mps, critical)


def _end_row(spot: Spot, d50_m: float, state: FlowState) -> Stands:
    """Stone that is carried up the banks, where its own weight helps the water.

    The pull by HDS-6, the speed by the stricter of HDS-6 and HEC-11: the size that they ask for
    grows with the square and with the third power of it.
    """
    rules, density = spot.rules, spot.stock.stone_density_kg_m3
    along = rules.value("bed_and_bank.end_slope")
    bank, repose = math.degrees(math.atan(1 / along)), rules.value("bed_and_bank.repose")
    pull = bank_pull_share(along) * state.deepest_shear_pa
    speed = _crest_speed_mps(state)
    lies = {"repose_deg": repose, "safety": 1.0, "density": density}
    by_pull = bank_pull_d50_m(pull, bank, **lies)
    by_speed = bank_speed_d50_m(speed, bank, **lies)
    mean_depth = state.area_m2 / state.top_width_m
    by_hec11 = hec11_d50_m(speed, mean_depth, bank=bank_factor(bank, repose), density=density)
    stands_pa = pull * d50_m / by_pull
    stands_mps = speed * min(math.sqrt(d50_m / by_speed), math.cbrt(d50_m / by_hec11))
    resists = Resistance(
        "stone up the banks",
        (stands_pa, stands_pa),
        (stands_mps, stands_mps),
        "FHWA HDS-6 (2001) chapter 6; FHWA HEC-11 (1989); share of the pull that banks take by "
        "HEC-15 (2005), from memory",
        "published",
    )
    asks = max(by_pull, by_speed, by_hec11)
    return Stands("ends", pull, speed, resists, asks, True, state.overtops, d50_m)


def _bed(spot: Spot) -> tuple[Resistance, bool]:
    """What the bed beside a structure stands, and whether that was told."""
    earth = spot.earth
    if earth.cover and earth.cover != BARE:
        return covers()[earth.cover], True
    bare = soils()[earth.soil].bare if earth.soil else unknown_bare()
    if not earth.cover and (spot.form.setting in GROWN_OVER or spot.task.purpose == "spread"):
        *_, strongest = covers().values()
        return (
            Resistance(
                f"anything from {bare.words} to {strongest.words}",
                (bare.pull_pa[0], strongest.pull_pa[1]),
                (bare.speed_mps[0], strongest.speed_mps[1]),
                f"{bare.source}; {strongest.source}",
                strongest.basis,
            ),
            False,
        )
    return bare, bool(earth.soil)


def _bank(spot: Spot) -> BankStands | None:
    height = spot.banks.depth_m
    if not (math.isfinite(height) and height > 0):
        return None
    soil = soils().get(spot.earth.soil)
    stands = None
    if soil is not None:
        stands = standing_height(
            soil.cohesion_pa,
            friction_deg=soil.friction_deg,
            unit_weight_n_m3=soil.unit_weight_n_m3,
        )
    return BankStands(height, spot.banks.depth_error_m, stands)
