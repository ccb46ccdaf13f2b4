"""Read the channel at places: banks, bankfull, valley floor, stage of incision and setting.

Bank top and bankfull stand apart: in a gully the bank is several times as high as the flow that
keeps the inner channel open.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.bankfull import Bankfull, WidthDepth, height_limit, settle_bankfull
from siting.channels.channel_classes import confinement_class, incision_stage
from siting.channels.ground import Ground
from siting.channels.reach_settings import (
    MEADOW_AREA_HA,
    MEADOW_SLOPE,
    MEADOW_WIDTH_M,
    SETTINGS,
    agreed,
    station_settings,
)
from siting.floods.bankfull_curves import bankfull_geometry
from siting.hydraulics.bed_size import bed_width_m, manning_depth_m
from siting.hydraulics.open_channel import LOWEST_SLOPE
from siting.values.rules import Rules
from terrain.channels.sections import valley_widths
from terrain.channels.typical_sections import (
    Stacks,
    find_benches,
    flow_stages,
    lower_banks,
    stack_sections,
    widths_at,
)
from terrain.values.arrays import FloatArray, IntArray, read_only

__all__ = ["SETTINGS", "ChannelReading", "read_places", "read_stations"]

#: Banks that a place does not show are taken from a station this near along the channel, m.
NEAR_M = 8.0
#: A width below so many cells is given only where the stations around show one too.
UNSURE_CELLS = 4.0
#: A setting is taken from a station this near along the channel, m.
SETTING_NEAR_M = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class ChannelReading:
    """What the elevations tell of the channel at m places; arrays ``(m,)``, NaN where they do not.

    Parameters
    ----------
    bank_width_m, bank_depth_m
        Width between the bank tops at the level of the lower one, and its height above the bed.
    lower_bank
        ``left`` or ``right`` looking downstream; '' where no two banks are seen.
    bed_width_m
        Width of the bed between the feet of the banks.
    bankfull
        Bankfull size; apart from the bank top.
    height_limit_m
        Most that bankfull allows a grade control to stand above the bed: see
        `siting.channels.bankfull.height_limit`.
    height_why
        Why only the smallest height is allowed, in words; None elsewhere.
    width_depth_ratio
        Bankfull width over bankfull depth.
    bank_height_ratio
        Height of the lower bank over bankfull depth.
    entrenchment_ratio
        Width at twice the bankfull depth over bankfull width.
    valley_floor_width_m
        Width at 1 m above the lower bank top (above the bed where no banks are seen).
    confinement
        ``confined``, ``partly confined``, ``unconfined``, or '' where not known.
    stage, stage_confidence
        Stage of incision 1 to 5 (0: not known), and 0 to 1.
    setting
        One of `SETTINGS`.
    width_source
        ``dem`` where the bank-top size is measured, ``curve`` where it is not.
    noise_m
        Usual error of single cells around the typical section.
    """

    bank_width_m: FloatArray
    bank_depth_m: FloatArray
    lower_bank: NDArray[Any]
    bed_width_m: FloatArray
    bankfull: Bankfull
    height_limit_m: FloatArray
    height_why: NDArray[Any]
    width_depth_ratio: FloatArray
    bank_height_ratio: FloatArray
    entrenchment_ratio: FloatArray
    valley_floor_width_m: FloatArray
    confinement: NDArray[Any]
    stage: IntArray
    stage_confidence: FloatArray
    setting: NDArray[Any]
    width_source: NDArray[Any]
    noise_m: FloatArray

    @property
    def size(self) -> int:
        """Number of places."""
        return int(self.stage.size)

    def take(self, which: NDArray[Any]) -> ChannelReading:
        """Return some of them."""
        arrays: dict[str, Any] = {f.name: getattr(self, f.name) for f in fields(self)}
        bankfull = arrays.pop("bankfull").take(which)
        return ChannelReading(
            bankfull=bankfull, **{name: read_only(v[which]) for name, v in arrays.items()}
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Where to read, and what is known there already."""

    x_m: FloatArray
    y_m: FloatArray
    azimuth_deg: FloatArray
    slope: FloatArray
    drainage_area_ha: FloatArray
    bank_width_m: FloatArray
    bank_depth_m: FloatArray
    setting: NDArray[Any]


def read_places(
    ground: Ground,
    cells: IntArray,
    *,
    slope: FloatArray,
    q2_m3s: FloatArray,
    division: str = "usa",
) -> ChannelReading:
    """Read the channel at cells.

    Parameters
    ----------
    ground
        Terrain, measured.
    cells
        Flat numbers of cells on or beside channels, shape ``(m,)``.
    slope
        Bed slope at each.
    q2_m3s
        Peak flow of the 2-year storm at each; NaN where not known.
    division
        Division of the regional curve.
    """
    cells = np.asarray(cells, dtype=np.int64)
    s = ground.stations
    azimuth = ground.azimuth_deg(cells)
    section = ground.sections(cells, azimuth)
    width = np.where(section.resolved, section.bank_width_m, np.nan)
    depth = np.where(section.resolved, section.bank_depth_m, np.nan)
    x, y = ground.raster.grid.xy_of(cells)
    setting = np.full(cells.size, "", dtype=object)
    if s.size and cells.size:
        reach, station = ground.on_network(cells)
        near = ground.station_near(reach, station)
        at = np.maximum(near, 0)
        away = np.abs(s.station_m[at] - station)
        # a section that shows a narrow channel stays: a wider one close by is another channel
        use = np.isnan(section.bank_width_m) & (near >= 0) & s.width_resolved[at] & (away <= NEAR_M)
        width = np.where(use, s.bank_width_m[at], width)
        depth = np.where(use, s.bank_depth_m[at], depth)
        # the stations around are steadier than one section: see `siting.channels.reaches`
        narrow = (near >= 0) & (away <= NEAR_M) & np.isfinite(s.bank_width_m[at])
        narrow &= ~s.width_resolved[at] & (width < UNSURE_CELLS * ground.raster.grid.cell_m)
        width, depth = np.where(narrow, np.nan, width), np.where(narrow, np.nan, depth)
        close = (near >= 0) & (away <= SETTING_NEAR_M)
        setting[close] = station_settings(ground)[at[close]]
    places = _Places(
        x_m=np.asarray(x, dtype=np.float64),
        y_m=np.asarray(y, dtype=np.float64),
        azimuth_deg=azimuth,
        slope=slope,
        drainage_area_ha=ground.area_ha(cells),
        bank_width_m=width,
        bank_depth_m=depth,
        setting=setting,
    )
    return _read(ground, places, q2_m3s, division)


def read_stations(ground: Ground, *, q2_m3s: FloatArray, division: str = "usa") -> ChannelReading:
    """Read the channel at the ground's m stations; see `read_places`. Flows are ``(m,)``."""
    s = ground.stations
    places = _Places(
        x_m=s.x_m,
        y_m=s.y_m,
        azimuth_deg=s.flow_azimuth_deg,
        slope=s.slope,
        drainage_area_ha=s.drainage_area_ha,
        bank_width_m=np.where(s.width_resolved, s.bank_width_m, np.nan),
        bank_depth_m=np.where(s.width_resolved, s.bank_depth_m, np.nan),
        setting=station_settings(ground),
    )
    return _read(ground, places, q2_m3s, division)


def _read(ground: Ground, p: _Places, q2_m3s: FloatArray, division: str) -> ChannelReading:
    stacks = stack_sections(ground.raster, p.x_m, p.y_m, p.azimuth_deg)
    slope = np.where(np.isfinite(p.slope), p.slope, np.maximum(stacks.bed_slope, 0.0))
    benches = find_benches(stacks, p.bank_depth_m)
    curve = bankfull_geometry(p.drainage_area_ha, division=division)
    made_up = bed_width_m(p.bank_width_m, p.bank_depth_m, curve.width_m)
    bankfull = settle_bankfull(
        drainage_area_ha=p.drainage_area_ha,
        banks=WidthDepth(p.bank_width_m, p.bank_depth_m),
        bench=WidthDepth(benches.width_m, benches.height_m),
        flow=_flow_size(stacks, p.bank_depth_m, q2_m3s, slope, made_up, ground.rules),
        rules=ground.rules,
        division=division,
    )
    error = ground.height_error_m(np.nan_to_num(benches.height_m))
    limit = height_limit(bankfull, ground.rules, bench_error_m=error)
    resolved = np.isfinite(p.bank_width_m)
    bed, _ = widths_at(stacks, np.where(resolved, 0.15 * p.bank_depth_m, np.nan))
    flood_prone, _ = widths_at(stacks, 2.0 * bankfull.depth_m)
    entrenchment = flood_prone / bankfull.width_m
    bank_ratio = p.bank_depth_m / bankfull.depth_m
    above_banks = stacks.bed_m + np.nan_to_num(p.bank_depth_m) + 1.0
    valley = valley_widths(ground.raster, p.x_m, p.y_m, p.azimuth_deg, above_banks)
    stage, confidence = incision_stage(
        bank_height_ratio=bank_ratio,
        bank_width_m=p.bank_width_m,
        bank_depth_m=p.bank_depth_m,
        bench_m=benches.height_m,
        entrenchment_ratio=entrenchment,
        sure=bankfull.sure,
    )
    setting, stage, confidence = agreed(_with_meadows(p, slope, valley), stage, confidence)
    values = {
        "bank_width_m": p.bank_width_m,
        "bank_depth_m": p.bank_depth_m,
        "lower_bank": np.where(resolved, lower_banks(stacks), "").astype(object),
        "bed_width_m": np.where(resolved & np.isfinite(bed), bed, made_up),
        "height_limit_m": limit.height_m,
        "height_why": limit.why,
        "width_depth_ratio": bankfull.width_m / bankfull.depth_m,
        "bank_height_ratio": bank_ratio,
        "entrenchment_ratio": entrenchment,
        "valley_floor_width_m": valley,
        "confinement": confinement_class(valley / bankfull.width_m),
        "stage": stage,
        "stage_confidence": confidence,
        "setting": setting,
        "width_source": np.where(resolved, "dem", "curve").astype(object),
        "noise_m": stacks.noise_m,
    }
    return ChannelReading(
        bankfull=bankfull,
        **{k: read_only(np.ascontiguousarray(v)) for k, v in values.items()},
    )


def _flow_size(
    stacks: Stacks,
    bank_depth_m: FloatArray,
    q2_m3s: FloatArray,
    slope: FloatArray,
    made_up_m: FloatArray,
    rules: Rules,
) -> WidthDepth:
    """Size of the 2-year flow in its section; where none shows, in the bed made up."""
    roughness = rules.value("channel.roughness")
    depth, width = flow_stages(
        stacks,
        bank_depth_m,
        flow_m3s=q2_m3s,
        slope=np.maximum(slope, LOWEST_SLOPE),
        roughness=roughness,
    )
    in_bed = manning_depth_m(q2_m3s, made_up_m, slope, roughness=roughness)
    rough = ~np.isfinite(depth)
    return WidthDepth(
        np.where(rough, made_up_m + 2 * np.nan_to_num(in_bed), width),
        np.where(rough, in_bed, depth),
    )


def _with_meadows(p: _Places, slope: FloatArray, valley_m: FloatArray) -> NDArray[Any]:
    """Settings, those of gentle wide swales with enough land above as wet-meadow candidates."""
    setting = p.setting.copy()
    meadow = (
        (setting == "swale")
        & (slope <= MEADOW_SLOPE)
        & (valley_m >= MEADOW_WIDTH_M)
        & (p.drainage_area_ha >= MEADOW_AREA_HA)
    )
    setting[meadow] = "wet-meadow candidate"
    return setting
