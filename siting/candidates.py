"""From measured ground to candidate sites: placed, sized, with flows, reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channel_size import ChannelSize, channel_size
from siting.grade import place_series
from siting.ground import BoolArray, FloatArray, Ground, IntArray
from siting.places import (
    LOG_MAT,
    ONE_ROCK_DAM,
    ROCK_BOWL,
    ROCK_RUNDOWN,
    SPREADER,
    Place,
    Placed,
)
from siting.site_floods import FloodGauge, FloodSettings, SiteFloods
from siting.spreading import place_spreaders
from siting.vertical import place_at_headcuts
from siting.wording import metres, sentences
from terrain.sections import SectionMeasures

#: Two heads that share one grade control: places of a pair closer than this are one, m.
SAME_PLACE_M = 3.0
#: A station this close stands in for a section that shows no banks, m.
NEAR_M = 10.0
#: How far a crest is keyed into each bank, m (field guides, from memory: 0.6 m).
KEY_M = 0.6
#: Length of a log mat and of a spreader's band along the flow, m (common practice).
LOG_MAT_LENGTH_M = 2.0
BAND_LENGTH_M = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Sites:
    """Candidate sites in the order of their ids (by reach and station); arrays of shape ``(n,)``.

    Parameters
    ----------
    places
        What the rules gave.
    cell, section_cell
        Cell of the site, and the one at which the channel was measured.
    azimuth_deg
        Direction of the flow.
    drainage_area_ha, area_complete
        Land that drains to the site, and whether the raster holds all of it.
    floods, size, section
        Peak flows, channel size, and the measured section.
    height_m, length_m, crest_m
        Size of the structure: above the bed, along the channel, across it; NaN where none is
        given.
    caution
        Sentences, all together.
    """

    places: tuple[Place, ...]
    cell: IntArray
    section_cell: IntArray
    azimuth_deg: FloatArray
    drainage_area_ha: FloatArray
    area_complete: BoolArray
    floods: SiteFloods
    size: ChannelSize
    section: SectionMeasures
    height_m: FloatArray
    length_m: FloatArray
    crest_m: FloatArray
    caution: tuple[str, ...]

    @property
    def count(self) -> int:
        """Number of sites."""
        return len(self.places)

    def take(self, keep: IntArray) -> Sites:
        """Return some of them."""
        return Sites(
            places=tuple(self.places[i] for i in keep),
            caution=tuple(self.caution[i] for i in keep),
            **{
                f.name: taken(getattr(self, f.name), keep)
                for f in fields(self)
                if f.name not in ("places", "caution")
            },
        )

    def of(self, name: str) -> NDArray[Any]:
        """One attribute of all places as an array."""
        values = [getattr(p, name) for p in self.places]
        if values and isinstance(values[0], str):
            return np.array([*values, None], dtype=object)[:-1]
        return np.array(values)


def taken(value: Any, keep: IntArray) -> Any:
    """Some rows of an array, or of every array of a value that holds arrays."""
    if isinstance(value, np.ndarray):
        return value[keep]
    return type(value)(**{f.name: taken(getattr(value, f.name), keep) for f in fields(value)})


def find_sites(
    ground: Ground, gauge: FloodGauge, settings: FloodSettings
) -> tuple[Sites, tuple[str, ...]]:
    """Place, size and word all candidate sites.

    Returns
    -------
    tuple
        Sites, and plain notes about what was left out.
    """
    placed = Placed()
    place_at_headcuts(ground, placed)
    placed.places = _share_grade_controls(ground, placed.places)
    place_series(ground, gauge, placed, division=settings.division)
    place_spreaders(ground, placed)
    places = _numbered(placed.places)
    cell = np.array([p.cell for p in places], dtype=np.int64)
    section_cell = np.array([p.section_cell for p in places], dtype=np.int64)
    floods = gauge.at(cell)
    azimuth = ground.azimuth_deg(section_cell)
    section = ground.sections(section_cell, azimuth)
    area = ground.area_ha(cell)
    bank_width, bank_depth = _banks(ground, section_cell, section)
    size = channel_size(
        area,
        slope=np.array([p.slope for p in places]),
        bank_width_m=bank_width,
        bank_depth_m=bank_depth,
        q2_m3s=floods.peak(2.0),
        rules=ground.rules,
        division=settings.division,
    )
    complete = ~ground.cut.is_cut(cell)
    height, length, crest = _dimensions(ground, places, size)
    caution = tuple(
        sentences([*p.cautions, *_size_cautions(p, size, i, float(height[i]))])
        for i, p in enumerate(places)
    )
    sites = Sites(
        places=places,
        cell=cell,
        section_cell=section_cell,
        azimuth_deg=azimuth,
        drainage_area_ha=area,
        area_complete=complete,
        floods=floods,
        size=size,
        section=section,
        height_m=height,
        length_m=length,
        crest_m=crest,
        caution=caution,
    )
    return sites, tuple(placed.notes)


def _banks(
    ground: Ground, cells: IntArray, section: SectionMeasures
) -> tuple[FloatArray, FloatArray]:
    """Bank-top width and depth at cells; where one shows none, those of a station close by."""
    s = ground.stations
    width = np.where(section.resolved, section.bank_width_m, np.nan)
    depth = np.where(section.resolved, section.bank_depth_m, np.nan)
    if not s.size or not cells.size:
        return width, depth
    reach, station = ground.on_network(cells)
    near = ground.station_near(reach, station)
    at = np.maximum(near, 0)
    use = ~section.resolved & (near >= 0) & s.width_resolved[at]
    use &= np.abs(s.station_m[at] - station) <= NEAR_M
    return np.where(use, s.bank_width_m[at], width), np.where(use, s.bank_depth_m[at], depth)


def _share_grade_controls(ground: Ground, places: list[Place]) -> list[Place]:
    """Merge grade controls of two heads that fall on one spot: the heads then share a group."""
    kept: list[Place] = []
    joined: dict[int, int] = {}
    spots: list[tuple[float, float, Place]] = []
    for place in places:
        if place.control in ("grade", "spread"):
            x, y = (float(v) for v in ground.raster.grid.xy_of(place.cell))
            same = next((p for a, b, p in spots if np.hypot(a - x, b - y) <= SAME_PLACE_M), None)
            if same is not None:
                joined[place.group] = joined.get(same.group, same.group)
                continue
            spots.append((x, y, place))
        kept.append(place)
    order: dict[int, int] = {}
    out = []
    for place in kept:
        group = joined.get(place.group, place.group)
        if group and place.control == "vertical":
            order[group] = order.get(group, 1) + 1
            place = replace(place, group=group, build_order=order[group])
        out.append(place)
    return out


def _numbered(places: list[Place]) -> tuple[Place, ...]:
    """Sort by reach and station and give groups numbers in that order; lone ones get 0."""
    places = sorted(places, key=lambda p: (p.reach, p.station_m, p.cell, p.control))
    members: dict[int, int] = {}
    for p in places:
        members[p.group] = members.get(p.group, 0) + 1
    number: dict[int, int] = {}
    for p in places:
        if p.group and members[p.group] > 1 and p.group not in number:
            number[p.group] = len(number) + 1
    return tuple(
        replace(p, group=number[p.group])
        if p.group in number
        else replace(p, group=0, build_order=0)
        for p in places
    )


def _dimensions(
    ground: Ground, places: tuple[Place, ...], size: ChannelSize
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Height, length along the channel and crest across it; NaN where nothing may be said."""
    rules = ground.rules
    out = np.full((len(places), 3), np.nan)
    one_stone = rules.low("grade_control.height")
    for i, p in enumerate(places):
        bankfull, width = float(size.bankfull_width_m[i]), float(size.width_m[i])
        if p.structure in (ONE_ROCK_DAM, LOG_MAT):
            # both span the bed from bank to bank; stone is keyed in besides
            across = width if p.structure == LOG_MAT else float(size.bed_width_m[i]) + 2 * KEY_M
            along = LOG_MAT_LENGTH_M if p.structure == LOG_MAT else max(1.0, bankfull)
            out[i] = size.height_m[i], along, across
        elif p.structure == SPREADER:
            across = np.clip(
                3 * bankfull, rules.low("spreader.length"), rules.high("spreader.length")
            )
            out[i] = one_stone, BAND_LENGTH_M, across
        elif p.structure == ROCK_BOWL:
            out[i] = p.headcut_height_m, rules.value("rock_bowl.run") * p.headcut_height_m, width
        elif p.structure == ROCK_RUNDOWN:
            out[i] = p.headcut_height_m, rules.value("rock_rundown.run") * p.headcut_height_m, width
    return out[:, 0], out[:, 1], out[:, 2]


def _size_cautions(place: Place, size: ChannelSize, i: int, height_m: float) -> list[str]:
    out = []
    if place.structure in (ONE_ROCK_DAM, LOG_MAT):
        out.append(size.why[i] or "")
        if place.needed_height_m > height_m + 1e-9:
            out.append(
                f"To reach the foot of the drop a crest of {metres(place.needed_height_m)} is "
                f"needed, more than the {metres(height_m)} allowed here: two low ones in series, "
                "or measure bankfull, which may allow more."
            )
    if size.width_source[i] == "curve" and place.control != "refer":
        out.append(
            "The elevations do not show the channel; its size is from a regional curve: measure it."
        )
    return out
