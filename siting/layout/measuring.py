"""From cells of the ground to spots: what the structure types read, measured in one go."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from siting.channels.channel_reading import ChannelReading, read_places
from siting.channels.ground import Ground
from siting.floods.bankfull_curves import bankfull_geometry
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.cross_section import CrossSection
from siting.layout.clearance import Clearance, check_clearance
from siting.layout.keep_clear import OTHER, KeepClear
from siting.places.site_floods import FloodGauge, SiteFloods
from siting.places.spot import Spot, Stock
from siting.structures.catalogue import Chosen, choose, structure_types
from siting.structures.limit_checks import STOCK_RULE
from siting.structures.structure_type import Check, Size, StructureType
from siting.values.wording import metres
from terrain.channels.sections import section_heights
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.errors import ParameterError

#: Sides of a made-up section where the elevations show none, horizontal per vertical.
MADE_UP_SIDE = 1.0
#: A made-up section reaches this many bankfull depths up.
MADE_UP_DEPTHS = 3.0


@dataclass(frozen=True, slots=True)
class BuildSettings:
    """What structures are chosen and sized with.

    Parameters
    ----------
    stock
        What the ranch has to build with.
    design_period_yr
        Return period of the flow that sizes are made for.
    keep
        Roads and what else structures keep away from; None for nothing given.
    types
        Structure types to choose from; all that are installed by default.
    """

    stock: Stock = field(default_factory=Stock)
    design_period_yr: float = 10.0
    keep: KeepClear | None = None
    types: tuple[StructureType, ...] = field(default_factory=lambda: tuple(structure_types()))


@dataclass(frozen=True, slots=True)
class Decision:
    """What stands at a spot, and why nothing else.

    Parameters
    ----------
    spot
        The place as the types saw it.
    chosen
        What the types said: the best that fits, every limit that was held against the place.
    size
        Size of the chosen one; None where none fits.
    """

    spot: Spot
    chosen: Chosen
    size: Size | None

    @property
    def type(self) -> StructureType | None:
        """The structure type chosen; None where none fits."""
        return self.chosen.type

    @property
    def kind(self) -> StructureType:
        """The structure type chosen, where there is one.

        Raises
        ------
        ParameterError
            No type fits.
        """
        if self.type is None:
            raise ParameterError("a spot where no structure fits", expected="one that fits")
        return self.type

    @property
    def sized(self) -> Size:
        """Size of the structure chosen, where there is one.

        Raises
        ------
        ParameterError
            No type fits.
        """
        if self.size is None:
            raise ParameterError("a spot where no structure fits", expected="one that fits")
        return self.size

    @property
    def summary(self) -> str:
        """What the structure chosen is and does, at the height that it has here."""
        flush = self.kind.flush_summary if self.sized.height_m == 0 else ""
        return flush or self.kind.summary

    @property
    def nearest_why_not(self) -> tuple[str, ...]:
        """Why the type that comes nearest to fitting does not fit; one that can be built first."""
        tried = [[c for c in checks if not c.passed] for checks in self.chosen.checks.values()]
        if not tried:
            return ("No structure is known that does this.",)
        nearest = min(tried, key=_how_far)
        return tuple(c.why_not for c in nearest)

    @property
    def failed(self) -> tuple[Check, ...]:
        """Limits that no type holds, each once, in the order they were tried."""
        tried = self.chosen.checks
        failing = [{c.why_not for c in checks if not c.passed} for checks in tried.values()]
        common = set.intersection(*failing) if failing else set()
        seen: dict[str, Check] = {}
        for checks in tried.values():
            for check in checks:
                if check.why_not in common and not check.passed:
                    seen.setdefault(check.why_not, check)
        return tuple(seen.values())


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Measures at n cells.

    Parameters
    ----------
    cell, section_cell
        The cells, and those at which the channel was measured.
    azimuth_deg
        Direction of the flow at the section.
    drainage_area_ha, area_complete
        Land that drains to the cell.
    floods, reading
        Peak flows, and the channel as read.
    curve_width_m, curve_depth_m
        Bankfull size by the regional curve, far below its smallest area too: stands in where
        nothing better is known, for widths, never for the height of a structure.
    """

    cell: IntArray
    section_cell: IntArray
    azimuth_deg: FloatArray
    drainage_area_ha: FloatArray
    area_complete: np.ndarray[tuple[int], np.dtype[np.bool_]]
    floods: SiteFloods
    reading: ChannelReading
    curve_width_m: FloatArray
    curve_depth_m: FloatArray

    @property
    def bankfull_width_m(self) -> FloatArray:
        """Bankfull width, by the curve where nothing better is known."""
        known = self.reading.bankfull.width_m
        return np.where(np.isfinite(known), known, self.curve_width_m)

    @property
    def bankfull_depth_m(self) -> FloatArray:
        """Bankfull depth, by the curve where nothing better is known."""
        known = self.reading.bankfull.depth_m
        return np.where(np.isfinite(known), known, self.curve_depth_m)

    @property
    def width_m(self) -> FloatArray:
        """Bank-top width; bankfull width where the elevations show no banks."""
        known = self.reading.bank_width_m
        return np.where(np.isfinite(known), known, self.bankfull_width_m)

    @property
    def depth_m(self) -> FloatArray:
        """Bank-top depth; bankfull depth where the elevations show no banks."""
        known = self.reading.bank_depth_m
        return np.where(np.isfinite(known), known, self.bankfull_depth_m)


def decide(spot: Spot, types: Iterable[StructureType]) -> Decision:
    """Let those types that serve a spot's purpose choose there."""
    chosen = choose(spot, [t for t in types if spot.purpose in t.purposes])
    return Decision(spot, chosen, None if chosen.type is None else chosen.type.size(spot))


class SpotMaker:
    """Measures cells and lets the structure types choose there.

    Parameters
    ----------
    ground, gauge
        Terrain, and the floods on it.
    settings
        What to build with and for which flow.
    division
        Physiographic division of the regional bankfull curve.
    """

    def __init__(
        self, ground: Ground, gauge: FloodGauge, settings: BuildSettings, *, division: str = "usa"
    ) -> None:
        self.ground, self.gauge, self.settings = ground, gauge, settings
        self.division = division

    def measure(
        self,
        cells: IntArray,
        section_cells: IntArray | None = None,
        *,
        floods: SiteFloods | None = None,
        notes: bool = False,
    ) -> Measured:
        """Measure places; floods are estimated where none are given."""
        ground = self.ground
        at = cells if section_cells is None else section_cells
        floods = self.gauge.at(cells, notes=notes) if floods is None else floods
        curve = bankfull_geometry(ground.area_ha(cells), division=self.division)
        return Measured(
            curve_width_m=curve.width_m,
            curve_depth_m=curve.depth_m,
            cell=cells,
            section_cell=at,
            azimuth_deg=ground.azimuth_deg(at),
            drainage_area_ha=ground.area_ha(cells),
            area_complete=~ground.cut.is_cut(cells),
            floods=floods,
            reading=read_places(ground, at, q2_m3s=floods.peak(2.0), division=self.division),
        )

    def spot(
        self,
        m: Measured,
        i: int,
        *,
        purpose: str,
        slope: float,
        drop_m: float = np.nan,
        needed_height_m: float = np.nan,
        opens: bool = False,
    ) -> Spot:
        """Describe the ``i``-th measured place as a spot that asks for a structure."""
        ground, rules, reading = self.ground, self.ground.rules, m.reading
        bankfull = reading.bankfull
        depth = float(reading.bank_depth_m[i])
        return Spot(
            purpose=purpose,
            slope=slope,
            slope_error=rules.value("measuring.slope_error"),
            drainage_area_ha=float(m.drainage_area_ha[i]),
            section=self._section(m, i),
            rules=rules,
            area_complete=bool(m.area_complete[i]),
            drop_m=drop_m,
            drop_error_m=float(ground.height_error_m(drop_m)) if np.isfinite(drop_m) else 0.0,
            bank_width_m=float(reading.bank_width_m[i]),
            bank_depth_m=depth,
            width_error_m=rules.value("measuring.width_error") * ground.raster.grid.cell_m,
            depth_error_m=float(ground.height_error_m(depth)) if np.isfinite(depth) else 0.0,
            bed_width_m=float(reading.bed_width_m[i]),
            bankfull_width_m=float(m.bankfull_width_m[i]),
            bankfull_depth_m=float(m.bankfull_depth_m[i]),
            bankfull_sure=bool(bankfull.sure[i]),
            height_limit_m=float(reading.height_limit_m[i]),
            q_m3s=tuple(float(m.floods.peak(t)[i]) for t in RETURN_PERIODS_YR),
            q_high_m3s=tuple(float(q) for q in m.floods.high_m3s[i]),
            design_period_yr=self.settings.design_period_yr,
            roughness=rules.value("channel.roughness"),
            setting=str(reading.setting[i] or ""),
            stage=int(reading.stage[i]),
            needed_height_m=needed_height_m,
            opens=opens,
            stock=self.settings.stock,
        )

    def keep_off(self, cells: IntArray) -> list[tuple[Check, ...]]:
        """Distances of cells to roads and what else is kept clear, held against their limits."""
        keep = self.settings.keep
        if keep is None or not keep.size:
            return [()] * cells.size
        found = check_clearance(keep, self.ground, cells)
        return [clearance_checks(found, i) for i in range(cells.size)]

    def decide(self, spot: Spot) -> Decision:
        """Let the types choose at a spot."""
        return decide(spot, self.settings.types)

    def _section(self, m: Measured, i: int) -> CrossSection:
        """Ground across the channel; a trapezoid where the elevations do not show the channel."""
        if m.reading.width_source[i] == "dem":
            x, y = (float(v) for v in self.ground.raster.grid.xy_of(int(m.section_cell[i])))
            offset, height = section_heights(self.ground.raster, x, y, float(m.azimuth_deg[i]))
            if np.isfinite(height[height.size // 2]):
                return CrossSection.from_ground(offset, height)
        depth = max(float(m.bankfull_depth_m[i]), 0.05)
        return CrossSection.trapezoid(
            max(float(m.reading.bed_width_m[i]), 0.2),
            side=MADE_UP_SIDE,
            depth_m=MADE_UP_DEPTHS * depth,
        )


def _how_far(failed: list[Check]) -> tuple[bool, int]:
    """How far a type is from fitting: what cannot be built here at all comes last."""
    return any(check.rule == STOCK_RULE for check in failed), len(failed)


def clearance_checks(found: Clearance, i: int) -> tuple[Check, ...]:
    """What a place is too near to, one check each; a single one that holds where it is clear."""
    asks = "clear of roads, buildings, ponds and culverts, with the error of the maps"
    source, basis = "no published source", "common practice"
    reasons = found.reasons[i]
    if reasons:
        return tuple(
            Check("keep_clear", asks, reason, False, reason, source, basis) for reason in reasons
        )
    kind = str(found.nearest_kind[i] or "")
    kind = "feature to keep clear of" if kind in ("", OTHER) else kind
    away = float(found.nearest_m[i])
    text = f"the nearest {kind} is {metres(away)} away" if np.isfinite(away) else "none given"
    return (Check("keep_clear", asks, text, True, "", source, basis),)


def taken(value: Any, keep: IntArray) -> Any:
    """Some rows of an array, or of every array of a value that holds arrays."""
    if isinstance(value, np.ndarray):
        return value[keep]
    return type(value)(**{f.name: taken(getattr(value, f.name), keep) for f in fields(value)})
