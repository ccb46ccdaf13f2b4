"""What the profile and the section of a site show, put together from its plan alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from cli.figures.outlines_on_ground import (
    SECTION,
    SIDE,
    Piece,
    in_section,
    on_profile,
    outlines_of,
    top_at,
)
from cli.figures.profile_drawing import Level, LongProfile, ProfileStructure
from cli.figures.section_drawing import SectionDrawing, SectionStructure
from cli.plan.explanation import ROAD, known
from cli.plan.fields import Units
from cli.plan.plan_numbers import amount
from cli.plan.plan_reading import PlanFile
from cli.plan.structure_looks import looks_of
from terrain.values.arrays import FloatArray

Row = Mapping[str, Any]
#: A profile reaches so far from its site, or so many lengths of the structure if that is more, m.
_LEAST_M, _LENGTHS = 11.0, 2.5
#: Slope of sediment behind a structure, as a share of the bed's; only drawn with it.
_DEPOSIT = 0.5


class SiteDrawings:
    """Profiles and sections of the sites of a plan.

    Parameters
    ----------
    plan
        The plan.
    """

    def __init__(self, plan: PlanFile) -> None:
        self._units = plan.units
        self._sites = plan.rows("sites")
        self._profiles = _by_site(plan.rows("profile_points"))
        self._sections = _by_site(plan.rows("section_points"))
        self._outlines = outlines_of(plan.rows("structure_outlines"))
        self._looks = looks_of(plan.layers)

    def profile(self, site: Row) -> LongProfile | None:
        """Put together the long profile of a site with its neighbours on it.

        Parameters
        ----------
        site
            Row of the layer ``sites``, SI.

        Returns
        -------
        LongProfile or None
            Distances are from the site, downstream below zero; None where the plan has no profile.
        """
        points = self._profiles.get(int(site["site_id"]), [])
        x, bed = _line(points, "distance_m", "bed_m")
        if x.size < 2:
            return None
        neighbours = self._neighbours(site, float(x[0]), float(x[-1]))
        x, bed = _shown(site, neighbours, x, bed)
        structures, pools, wedges, heads = [], [], [], []
        top = bed.copy()
        as_box = False
        for other, at in ((site, 0.0), *neighbours):
            pieces = [
                piece
                for outline in self._outlines.get((int(other["site_id"]), SIDE), ())
                for piece in on_profile(outline, at, x, bed)
            ]
            structures += _labelled(pieces, other, self._label(other))
            as_box |= other is site and any(piece.as_box for piece in pieces)
            for piece in pieces:
                top = np.fmax(top, top_at(piece, x))
            if known(other["wedge_length_m"]) and pieces:
                crest = float(np.interp(at, x, bed)) + float(other["structure_height_m"])
                pool = _still_pool(x, bed, at, crest)
                if pool is not None:
                    pools.append(pool)
                wedge = _wedge(x, bed, at, crest, other)
                if wedge is not None:
                    wedges.append(wedge)
            drop = float(other["headcut_height_m"])
            if known(drop) and drop > 0 and not pieces:
                lip = float(other["elevation_m"])
                heads.append((at, lip, lip))  # the face itself is in the bed that is drawn
        depth = float(site["design_depth_m"])
        wet = known(depth) and site["purpose"] != ROAD
        return LongProfile(
            station_m=x,
            bed_m=bed,
            structures=tuple(structures),
            water=Level(x, _water(top, depth)) if wet else None,
            pools=tuple(pools),
            wedges=tuple(wedges),
            headcuts=tuple(heads),
            flood_words=flood_words(site, self._units),
            name_levels=False,
            as_box=as_box,
            error_m=_median([float(p["error_m"]) for p in points]),
        )

    def section(self, site: Row) -> SectionDrawing | None:
        """Put together the cross-section of a site; None where the plan has none to show.

        Parameters
        ----------
        site
            Row of the layer ``sites``, SI.
        """
        points = self._sections.get(int(site["site_id"]), [])
        x, ground = _line(points, "offset_m", "ground_m")
        made_up = any(p["source"] == "curve" for p in points)
        # A channel that nobody has seen says nothing of ground on which water is to spread.
        if x.size < 3 or (made_up and site["control"] == "spread"):
            return None
        outlines = self._outlines.get((int(site["site_id"]), SECTION), ())
        offsets = [float(v) for outline in outlines for v in outline.offset_m]
        if offsets:
            x, ground = _wide_enough(x, ground, offsets)
        x, ground = _about_channel(x, ground, site, offsets)
        bed = float(ground.min())
        pieces = [piece for outline in outlines for piece in in_section(outline, x, ground)]
        road = site["purpose"] == ROAD
        depth = math.nan if road else float(site["design_depth_m"])
        bankfull = float(site["bankfull_depth_m"]) if site["control"] == "grade" else math.nan
        return SectionDrawing(
            offset_m=x,
            ground_m=ground,
            control=str(site["control"]),
            structures=tuple(SectionStructure(p.x_m, p.z_m, p.is_body) for p in pieces),
            label=self._label(site, numbered=False) if pieces else "",
            water_m=bed + depth,
            bankfull_m=math.nan if road else bed + bankfull,
            flood_words=flood_words(site, self._units),
            as_box=any(piece.as_box for piece in pieces),
            from_curve=made_up,
            on_road=road,
        )

    def _neighbours(self, site: Row, low_m: float, high_m: float) -> list[tuple[Row, float]]:
        """Other sites on the same stretch of channel, with their distance along it."""
        if site["purpose"] == ROAD:
            return []
        found: list[tuple[Row, float]] = []
        for other in self._sites:
            at = float(other["station_m"]) - float(site["station_m"])
            same = other["channel_id"] == site["channel_id"] and other["purpose"] != ROAD
            if same and other["site_id"] != site["site_id"] and low_m < at < high_m:
                found.append((other, at))
        return found

    def _label(self, site: Row, *, numbered: bool = True) -> str:
        """Number of the site and type, sizes below; sites of one work share their rank."""
        look = self._looks.of(site["structure"])
        name = f"{site['site_id']}: {look.label}" if numbered else look.label
        return "\n".join([name, sizes_words(site, look.height_word, self._units)]).strip()


def sizes_words(site: Row, height_word: str, units: Units) -> str:
    """How high and how long a structure is."""
    sizes = [
        f"{amount('sites', name, float(site[name]), units)} {word}"
        for name, word in (("structure_height_m", height_word), ("structure_length_m", "long"))
        if known(site[name])
    ]
    if site["structure_height_m"] == 0:
        sizes[0] = "flush with the bed"
    return ", ".join(sizes)


def _by_site(rows: Sequence[Row]) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = {}
    for row in rows:
        found.setdefault(int(row["site_id"]), []).append(row)
    return found


def _median(values: Sequence[float]) -> float:
    sound = [value for value in values if math.isfinite(value)]
    return float(np.median(sound)) if sound else math.nan


def _line(points: Sequence[Row], x: str, z: str) -> tuple[FloatArray, FloatArray]:
    """Points in the order of their distance; those that are not known or stand twice left out."""
    at: FloatArray = np.array([p[x] for p in points], dtype=np.float64)
    height: FloatArray = np.array([p[z] for p in points], dtype=np.float64)
    order = np.argsort(at, kind="stable")
    at, height = at[order], height[order]
    sound = np.isfinite(at) & np.isfinite(height)
    at, height = at[sound], height[sound]
    new = np.append(True, np.diff(at) > 0)[: at.size]
    return at[new], height[new]


def flood_words(site: Row, units: Units) -> str:
    """Name the design flood of a site in a figure, with its flow."""
    years = float(site["design_return_period_yr"])
    name = f"{years:.0f}-year flood" if known(years) else "design flood"
    flow = float(site["design_flow_m3s"])
    return f"{name}, {amount('sites', 'design_flow_m3s', flow, units)}" if known(flow) else name


def _shown(
    site: Row, neighbours: list[tuple[Row, float]], x: FloatArray, bed: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Cut the profile to what the site is about: its structure, its pair and their surroundings."""
    length = float(site["structure_length_m"])
    reach = max(_LEAST_M, _LENGTHS * length if known(length) else 0.0)
    pair = [at for o, at in neighbours if site["pair_id"] and o["pair_id"] == site["pair_id"]]
    near = [at for at in pair if abs(at) <= 2.5 * reach]
    low, high = min([-reach, *(at - 5.0 for at in near)]), max([reach, *(at + 5.0 for at in near)])
    if str(site["control"]) == "grade" and known(site["wedge_length_m"]):
        high = max(high, min(float(site["wedge_length_m"]) + 3.0, 2.5 * reach))
    keep = (x >= low) & (x <= high)
    return (x[keep], bed[keep]) if keep.sum() >= 2 else (x, bed)


def _labelled(pieces: Sequence[Piece], site: Row, label: str) -> list[ProfileStructure]:
    """Pieces of one structure; its words go with its first."""
    return [
        ProfileStructure(
            "" if number else label, str(site["control"]), piece.x_m, piece.z_m, piece.is_body
        )
        for number, piece in enumerate(pieces)
    ]


def _water(top: FloatArray, depth_m: float) -> FloatArray:
    """Water at its depth in the measured section, over bed and structures.

    It never falls on the way upstream: still or running, a surface slopes the other way. A sketch
    for the eye, not a backwater calculation.
    """
    level: FloatArray = np.maximum.accumulate(top + depth_m)
    return level


def _still_pool(x: FloatArray, bed: FloatArray, at: float, crest_m: float) -> Level | None:
    """Level water from the crest up to where the bed rises through it."""
    above = np.flatnonzero((x > at) & (bed >= crest_m))
    end = float(x[above[0]]) if above.size else float(x[-1])
    inside = np.linspace(at, end, 60)
    if end - at < 0.2 or float(np.max(crest_m - np.interp(inside, x, bed))) <= 0:
        return None
    return Level(inside, np.full(inside.shape, crest_m))


def _wedge(x: FloatArray, bed: FloatArray, at: float, crest_m: float, site: Row) -> Level | None:
    """Top of the sediment: from the crest at half the slope of the bed, until it runs out."""
    length = float(site["wedge_length_m"])
    if not math.isfinite(length) or length < 0.2:
        return None
    inside = np.linspace(at, min(at + length, float(x[-1])), 60)
    top = crest_m + _DEPOSIT * float(np.nan_to_num(site["slope"])) * (inside - at)
    # A drop within its reach ends it there.
    met = np.flatnonzero(np.interp(inside, x, bed) >= top)
    end = int(met[0]) + 1 if met.size else inside.size
    return Level(inside[:end], top[:end]) if end > 1 else None


def _about_channel(
    x: FloatArray, ground: FloatArray, site: Row, offsets: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """Cut a section to the channel, the structure and some ground beside them."""
    wide = float(site["bank_width_m"])
    half = max(0.75 * wide if known(wide) else 4.0, *(abs(o) + 1.0 for o in offsets), 2.5)
    keep = np.abs(x) <= half
    return (x[keep], ground[keep]) if keep.sum() >= 3 else (x, ground)


def _wide_enough(
    x: FloatArray, ground: FloatArray, offsets: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """Carry the ground on level where a key reaches further than the section was read."""
    low, high = min(offsets) - 0.2, max(offsets) + 0.2
    if low < x[0]:
        x, ground = np.append(low, x), np.append(ground[0], ground)
    if high > x[-1]:
        x, ground = np.append(x, high), np.append(ground, ground[-1])
    return x, ground
