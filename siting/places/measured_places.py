"""Places measured: land, floods, channel and section at any cells, and each as the types see it.

Whatever is proposed or tried is measured here and nowhere else, so that a limit, a size and a layer
read the same numbers. What is measured at a cell does not depend on what is measured beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from siting.channels.bed_slopes import BedSlopes, bed_slopes
from siting.channels.channel_reading import ChannelReading, read_places
from siting.channels.ground import Ground
from siting.floods.bankfull_curves import bankfull_geometry
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.cross_section import CrossSection
from siting.places.earth_map import EarthMap
from siting.places.site_floods import FloodGauge, SiteFloods
from siting.places.spot import (
    BankfullSize,
    Banks,
    BedAround,
    ChannelForm,
    Drop,
    Earth,
    LandAbove,
    Spot,
    SpotFloods,
    Stock,
    Task,
)
from siting.places.unseen_width import at_width, made_up_section, unseen_width
from terrain.channels.sections import SectionMeasures, section_heights
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: Narrowest channel that elevations show, in cells.
HIDDEN_CELLS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Measures at n cells.

    Parameters
    ----------
    cell, section_cell
        The cells, and those at which the channel was measured.
    azimuth_deg
        Direction of the flow at the section, or of the road.
    elevation_m
        Bed at the cell.
    drainage_area_ha, area_complete
        Land that drains to the cell, and whether the raster holds all of it.
    slopes
        Bed slope through the footprint, above and below.
    floods, reading, section
        Peak flows by every method, the channel as read, and the section at the cell alone.
    curve_width_m, curve_depth_m
        Bankfull size by the regional curve, far below its smallest area too: stands in where
        nothing better is known, for widths, never for the height of a structure.
    """

    cell: IntArray
    section_cell: IntArray
    azimuth_deg: FloatArray
    elevation_m: FloatArray
    drainage_area_ha: FloatArray
    area_complete: BoolArray
    slopes: BedSlopes
    floods: SiteFloods
    reading: ChannelReading
    section: SectionMeasures
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

    def take(self, keep: IntArray) -> Measured:
        """Return some of them."""
        taken: Measured = _taken(self, keep)
        return taken


@dataclass(frozen=True, slots=True, eq=False)
class Meter:
    """Measures places of one ground for one flow and one stock of materials.

    Parameters
    ----------
    ground, gauge
        Terrain, and the floods on it.
    stock
        What there is to build with.
    design_period_yr
        Return period of the flow that sizes are made for.
    earth, earth_map
        What bed and banks are made of: for all places, and by a map where no soil is told.
    """

    ground: Ground
    gauge: FloodGauge
    stock: Stock
    design_period_yr: float
    earth: Earth = field(default_factory=Earth)
    earth_map: EarthMap | None = None

    def measure(
        self,
        cells: IntArray,
        section_cells: IntArray | None = None,
        *,
        azimuth_deg: FloatArray | None = None,
        notes: bool = False,
    ) -> Measured:
        """Measure places.

        Parameters
        ----------
        cells
            Flat cell numbers, shape ``(n,)``.
        section_cells
            Cells at which the channel is measured; by default the same. Where they differ, the
            cells are lips of headcuts.
        azimuth_deg
            Direction to measure across where it is not that of the flow; NaN where it is.
        notes
            Whether to write remarks about the floods and to work out their ranges.
        """
        ground, division = self.ground, self.gauge.settings.division
        at = cells if section_cells is None else section_cells
        floods = self.gauge.at(cells, notes=notes)
        area_ha = ground.area_ha(cells)
        curve = bankfull_geometry(area_ha, division=division)
        azimuth = ground.azimuth_deg(at)
        if azimuth_deg is not None:
            azimuth = np.where(np.isfinite(azimuth_deg), azimuth_deg, azimuth)
        slopes = bed_slopes(ground, cells, at_head=at != cells)
        q2 = floods.peak(2.0)
        return Measured(
            cell=cells,
            section_cell=at,
            azimuth_deg=azimuth,
            elevation_m=ground.raster.elevation_m.reshape(-1)[cells].astype(np.float64),
            drainage_area_ha=area_ha,
            area_complete=~ground.cut.is_cut(cells),
            slopes=slopes,
            floods=floods,
            reading=read_places(ground, at, slope=slopes.here, q2_m3s=q2, division=division),
            section=ground.sections(at, azimuth),
            curve_width_m=curve.width_m,
            curve_depth_m=curve.depth_m,
        )

    def spot(
        self,
        m: Measured,
        i: int,
        task: Task,
        *,
        drop_m: float = np.nan,
        floor_m: float = np.nan,
    ) -> Spot:
        """Describe a measured place as a spot that asks for a structure.

        Parameters
        ----------
        m, i
            What was measured, and which of its places.
        task
            What is asked for.
        drop_m
            Height of a headcut; NaN for none.
        floor_m
            Width of a swale's floor, which has to be spanned whole and shows where banks do not;
            NaN for none.
        """
        ground, rules, reading = self.ground, self.ground.rules, m.reading
        width, depth = float(reading.bank_width_m[i]), float(reading.bank_depth_m[i])
        bed = float(reading.bed_width_m[i])
        depth_error = float(ground.height_error_m(depth)) if np.isfinite(depth) else 0.0
        width_error = rules.value("measuring.width_error") * ground.raster.grid.cell_m
        hidden = np.nan if np.isfinite(depth) else HIDDEN_CELLS * ground.raster.grid.cell_m
        if np.isfinite(floor_m):
            width = bed = floor_m
            width_error = 0.0
            depth = depth if np.isfinite(depth) else rules.value("swale.floor_height")
        drop_error = float(ground.height_error_m(drop_m)) if np.isfinite(drop_m) else 0.0
        slopes, least = m.slopes, rules.value("measuring.slope_error")
        spot = Spot(
            task=task,
            slope=float(slopes.here[i]),
            slope_error=max(float(slopes.here_error[i]), least),
            bed=BedAround(
                above=float(slopes.above[i]),
                above_error=float(np.fmax(slopes.above_error[i], least)),
                below=float(slopes.below[i]),
                below_error=float(np.fmax(slopes.below_error[i], least)),
            ),
            land=LandAbove(float(m.drainage_area_ha[i]), bool(m.area_complete[i])),
            drop=Drop(drop_m, drop_error),
            banks=Banks(width, depth, width_error, depth_error, bed, hidden),
            bankfull=BankfullSize(
                float(m.bankfull_width_m[i]),
                float(m.bankfull_depth_m[i]),
                sure=bool(reading.bankfull.sure[i]),
                height_limit_m=float(reading.height_limit_m[i]),
            ),
            floods=spot_floods(m.floods, i, self.design_period_yr),
            form=ChannelForm(str(reading.setting[i] or ""), int(reading.stage[i])),
            section=self._section(m, i, floor_seen=bool(np.isfinite(floor_m))),
            rules=rules,
            stock=self.stock,
            earth=self._earth(int(m.cell[i])),
        )
        if np.isfinite(spot.banks.width_m):
            return spot
        wide = unseen_width(float(m.curve_width_m[i]), ground.raster.grid.cell_m)
        return at_width(replace(spot, width_range=wide), wide.low_m)

    def _earth(self, cell: int) -> Earth:
        """What bed and banks are made of at a cell."""
        if self.earth.soil or self.earth_map is None:
            return self.earth
        x, y = self.ground.raster.grid.xy_of(cell)
        return replace(self.earth, soil=self.earth_map.soil_at(float(x), float(y)))

    def _section(self, m: Measured, i: int, *, floor_seen: bool) -> CrossSection:
        """Ground across the channel; a trapezoid where the elevations do not show the channel.

        Where a swale's floor is measured, its ground shows though no banks do.
        """
        if m.reading.width_source[i] == "dem" or floor_seen:
            x, y = (float(v) for v in self.ground.raster.grid.xy_of(int(m.section_cell[i])))
            offset, height = section_heights(self.ground.raster, x, y, float(m.azimuth_deg[i]))
            if np.isfinite(height[height.size // 2]):
                return CrossSection.from_ground(offset, height)
        return made_up_section(float(m.reading.bed_width_m[i]), float(m.bankfull_depth_m[i]))


def spot_floods(floods: SiteFloods, i: int, design_period_yr: float) -> SpotFloods:
    """Peak flows at one place, as the structure types see them."""
    at = RETURN_PERIODS_YR.index(design_period_yr)
    return SpotFloods(
        q_m3s=tuple(float(floods.peak(t)[i]) for t in RETURN_PERIODS_YR),
        low_m3s=tuple(float(q) for q in floods.low_m3s[i]),
        high_m3s=tuple(float(q) for q in floods.high_m3s[i]),
        design_period_yr=design_period_yr,
        range_from=str(floods.range_from[i, at] or ""),
    )


def _taken(value: Any, keep: IntArray) -> Any:
    """Some rows of an array, or of every array of a value that holds arrays."""
    if isinstance(value, np.ndarray):
        return value[keep]
    return type(value)(**{f.name: _taken(getattr(value, f.name), keep) for f in fields(value)})
