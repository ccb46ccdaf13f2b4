"""One place on the ground as a structure type sees it: everything its limits and sizes read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.cross_section import CrossSection
from siting.values.rules import Rules

#: What a structure is for. A spot asks for one of these; a structure type serves some of them.
PURPOSES = ("vertical", "grade", "spread", "road")
#: Building materials that a ranch may have.
MATERIALS = ("rock", "logs", "brush")


@dataclass(frozen=True, slots=True)
class Stock:
    """What there is to build with.

    Parameters
    ----------
    have
        Some of `MATERIALS`.
    wood
        Species of the logs, a name in ``wood.toml``.
    stone_density_kg_m3
        Density of solid stone.
    anchor_n_per_post
        Tested hold of one post with its wire, N; 0 gives posts and wire no credit.
    """

    have: frozenset[str] = frozenset(MATERIALS)
    wood: str = "ponderosa pine"
    stone_density_kg_m3: float = 2650.0
    anchor_n_per_post: float = 0.0


@dataclass(frozen=True, slots=True)
class Task:
    """What a place asks of a structure.

    Parameters
    ----------
    purpose
        One of `PURPOSES`.
    needed_height_m
        Height a grade control needs here to back water to the foot of the drop above; NaN for none.
    below_head
        Whether it holds the bed for the structure at a drop above, whether or not it backs water.
    short
        Whether a crest that makes up only a part of that height may stand here.
    dry
        Whether no water is backed to the foot of the drop: at the drop only a type that needs none
        may stand, and the grade control below only holds the bed.
    opens
        Whether the water is free to spread here: a fan, a gully's end.
    """

    purpose: str
    needed_height_m: float = np.nan
    below_head: bool = False
    short: bool = False
    dry: bool = False
    opens: bool = False


@dataclass(frozen=True, slots=True)
class LandAbove:
    """Land that drains to a place, ha, and whether the raster holds all of it."""

    area_ha: float
    complete: bool = True


@dataclass(frozen=True, slots=True)
class BedAround:
    """Bed slope over the reach above a structure and over that below it, and their errors.

    m per m; NaN where not known, and on a road.
    """

    above: float = np.nan
    above_error: float = 0.0
    below: float = np.nan
    below_error: float = 0.0


@dataclass(frozen=True, slots=True)
class Drop:
    """Height of a headcut, m, and its error; NaN where there is none."""

    height_m: float = np.nan
    error_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Banks:
    """Size of a channel at its bank tops.

    Parameters
    ----------
    width_m, depth_m, width_error_m, depth_error_m
        Bank-top size and its errors; NaN where the elevations do not show it.
    bed_width_m
        Width of the bed between the feet of the banks.
    hidden_width_m
        Widest channel that the elevations would not show here; NaN where they show banks.
    """

    width_m: float = np.nan
    depth_m: float = np.nan
    width_error_m: float = 0.0
    depth_error_m: float = 0.0
    bed_width_m: float = np.nan
    hidden_width_m: float = np.nan


@dataclass(frozen=True, slots=True)
class WidthRange:
    """A width that nobody saw: the least and the most that it may be, m."""

    low_m: float
    high_m: float


@dataclass(frozen=True, slots=True)
class BankfullSize:
    """Size of the flow that fills the inner channel.

    Parameters
    ----------
    width_m, depth_m
        Lowest plausible estimate.
    sure
        False where bankfull must be measured on site first: nothing above the smallest height then.
    height_limit_m
        Most that bankfull allows a grade control to stand above the bed here, m.
    """

    width_m: float = np.nan
    depth_m: float = np.nan
    sure: bool = False
    height_limit_m: float = 0.10


@dataclass(frozen=True, slots=True)
class SpotFloods:
    """Peak flows at a place.

    Parameters
    ----------
    q_m3s, low_m3s, high_m3s
        Likely peak flows of `siting.floods.flood_method.RETURN_PERIODS_YR`, and the low and high
        end of their range; NaN where not known.
    design_period_yr
        Return period that sizes are made for.
    range_from
        What the range of the design flow rests on, in words; empty where there is none.
    """

    q_m3s: tuple[float, ...] = (np.nan,) * len(RETURN_PERIODS_YR)
    low_m3s: tuple[float, ...] = (np.nan,) * len(RETURN_PERIODS_YR)
    high_m3s: tuple[float, ...] = (np.nan,) * len(RETURN_PERIODS_YR)
    design_period_yr: float = 10.0
    range_from: str = ""


@dataclass(frozen=True, slots=True)
class RoadRun:
    """The piece of road whose water comes to a place on it.

    Parameters
    ----------
    length_m
        Along the road, from the dip above or from the top of the stretch that falls one way.
    mean_grade
        Mean grade over that length, m per m.
    soil
        ``erosive`` or ``firm``: soil of the road.
    first_open
        Whether no place nearer to its top lets the water out.
    after_dip
        Whether it begins at a dip, not at the top of a stretch.
    """

    length_m: float
    mean_grade: float
    soil: str
    first_open: bool = False
    after_dip: bool = False


@dataclass(frozen=True, slots=True)
class ChannelForm:
    """Reach setting in words, and stage of incision 1 to 5 (0: not known)."""

    setting: str = ""
    stage: int = 0


@dataclass(frozen=True, slots=True)
class Earth:
    """What bed and banks are made of, as somebody told.

    Parameters
    ----------
    soil
        Symbol of the soil's class, a name of `siting.hydraulics.resistance.soils`; empty where
        nobody told.
    cover
        What grows on the bed: ``bare``, or a name of `siting.hydraulics.resistance.covers`; empty
        where nobody told.
    """

    soil: str = ""
    cover: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Beyond:
    """Ground across the channel above and below a place; None where that of the place stands in."""

    above: CrossSection | None = None
    below: CrossSection | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """A place that asks for a structure.

    Lengths in m, slopes in m per m. Errors are one-sided: a limit is held against the value plus
    (for a least value: minus) its error.

    Parameters
    ----------
    task
        What it asks of a structure.
    slope, slope_error
        Bed slope where the structure stands (of the road, for a road): what water and stone are
        worked out with. Limits see the steepest of this and those of ``bed``.
    bed
        Bed slope above and below it.
    land, drop, banks, bankfull, floods, form
        What was measured.
    section
        Ground across the channel (or a made-up trapezoid where the elevations do not show it).
    width_range
        Between which widths the channel is where nobody saw it; the place is then described at the
        narrow end (`siting.places.unseen_width`). None where it was seen, and on roads.
    road
        The piece of road above a place on a road; None elsewhere.
    stock, rules
        What there is to build with, and the limits.
    earth, beyond
        What bed and banks are made of, and the ground across the channel next to the place.
    """

    task: Task
    slope: float
    slope_error: float
    land: LandAbove
    section: CrossSection
    rules: Rules
    bed: BedAround = BedAround()
    drop: Drop = Drop()
    banks: Banks = Banks()
    bankfull: BankfullSize = BankfullSize()
    floods: SpotFloods = SpotFloods()
    form: ChannelForm = ChannelForm()
    stock: Stock = Stock()
    width_range: WidthRange | None = None
    road: RoadRun | None = None
    earth: Earth = Earth()
    beyond: Beyond = Beyond()

    def flow_m3s(self, return_period_yr: float | None = None) -> float:
        """Peak flow of a return period; of the design return period by default."""
        floods = self.floods
        period = floods.design_period_yr if return_period_yr is None else return_period_yr
        return floods.q_m3s[RETURN_PERIODS_YR.index(period)]

    def low_flow_m3s(self) -> float:
        """Low end of the design flow's range; NaN where there is none."""
        floods = self.floods
        return floods.low_m3s[RETURN_PERIODS_YR.index(floods.design_period_yr)]

    def high_flow_m3s(self) -> float:
        """High end of the design flow's range; NaN where there is none."""
        floods = self.floods
        return floods.high_m3s[RETURN_PERIODS_YR.index(floods.design_period_yr)]

    @property
    def roughness(self) -> float:
        """Manning's n of the channel."""
        return self.rules.value("channel.roughness")

    @property
    def width_m(self) -> float:
        """Bank-top width, or bankfull width where the banks do not show."""
        return self.banks.width_m if np.isfinite(self.banks.width_m) else self.bankfull.width_m

    @property
    def depth_m(self) -> float:
        """Bank-top depth, or bankfull depth where the banks do not show."""
        return self.banks.depth_m if np.isfinite(self.banks.depth_m) else self.bankfull.depth_m
