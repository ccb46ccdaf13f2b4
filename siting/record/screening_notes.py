"""What a screening tells about itself: notes, cautions, the summary line, the record."""

from __future__ import annotations

from typing import Any

import numpy as np

from siting.channels.ground import Ground
from siting.channels.headcuts import HeadcutSettings
from siting.channels.study_area import StudyArea
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.layout.fans import station_spacing_m
from siting.layout.healing import healing_note
from siting.places.flood_paths import NOT_KNOWN
from siting.places.site_floods import FloodSettings, SiteFloods
from siting.sites import Sites
from siting.structures.decisions import MORE_ELEVATIONS
from siting.values.wording import counted, exactly, figures, hectares, listed, metres, quantity
from siting.works.making_works import Works

#: So many cuts and fills are named with their place; the others are counted.
NAMED = 10
HAND_WORK_NOTE = (
    "Limits of hand work are applied at the unfavourable end of the measuring error; the file of "
    "limits names the source of each."
)


def notes_of(ground: Ground, study: StudyArea | None, left_out: tuple[str, ...]) -> tuple[str, ...]:
    """Plain sentences: what was done and met."""
    notes = list[str]()
    if study is not None:
        notes.append(f"The ranch and the land that drains into it cover {hectares(study.area_ha)}.")
    notes += _conditioning_notes(ground)
    cell_m = ground.raster.grid.cell_m
    if cell_m > HeadcutSettings().largest_cell_m:
        notes.append(
            f"Cells of {metres(cell_m)} show neither headcuts nor channels: the run gives drainage "
            "areas and valley slopes. Use cells of 1 to 2 m to find sites."
        )
    else:
        notes += _channel_notes(ground)
    return (*notes, *left_out, HAND_WORK_NOTE)


def _channel_notes(ground: Ground) -> list[str]:
    """What can be said of the channels' banks."""
    notes = []
    if ground.stations.size:
        unresolved = 1.0 - float(np.mean(ground.stations.width_resolved))
        if unresolved > 0.5:
            notes.append(
                f"On {figures(100 * unresolved)} % of the channel length no banks can be seen on "
                f"cells of {metres(ground.raster.grid.cell_m)}."
            )
    deep = _too_deep_m(ground)
    if deep > 0:
        limit = ground.rules.low("one_rock_dam.channel_depth")
        notes.append(
            f"{metres(deep)} of channel lie deeper than {metres(limit)} below their banks: no low "
            "structures are proposed there, apart from those that pair with a headcut."
        )
    return notes


def _too_deep_m(ground: Ground) -> float:
    """Length of channel inside the ranch that is too deep for low structures, m."""
    s = ground.stations
    deep = s.width_resolved & (s.bank_depth_m > ground.rules.low("one_rock_dam.channel_depth"))
    deep &= ground.inside(s.cell)
    return float(np.count_nonzero(deep)) * station_spacing_m(ground)


def _conditioning_notes(ground: Ground) -> list[str]:
    report, grid = ground.conditioned.report, ground.raster.grid
    notes = []
    if report.cut_cell.size:
        order = np.lexsort((report.cut_cell, -report.cut_depth_m))[:NAMED]
        x, y = grid.xy_of(report.cut_cell[order])
        named = [
            f"({a:.0f}, {b:.0f}) {metres(float(d))} deep"
            for a, b, d in zip(x, y, report.cut_depth_m[order], strict=True)
        ]
        more = report.cut_cell.size - order.size
        notes.append(
            f"Water was led through {counted(report.cut_cell.size, 'barrier')} of "
            f"{metres(report.notable_m)} or more (road fills, pond banks): {listed(named)}"
            + (f", and {more} less deep." if more else ".")
        )
    if report.filled_cell.size:
        notes.append(
            f"{counted(report.filled_cell.size, 'hollow')} too deep or long to cut were filled, "
            f"{counted(report.filled_cells, 'cell')} in all, the deepest by "
            f"{metres(float(report.filled_depth_m.max()))}: ponds or closed basins."
        )
    return notes


def cautions_of(ground: Ground, sites: Sites, floods: FloodSettings) -> tuple[str, ...]:
    """Plain sentences: what to be careful with."""
    out = []
    cut = int(np.count_nonzero(~sites.area_complete))
    if cut:
        out.append(
            f"The raster's edge cuts the drainage area of {cut} of {counted(sites.count, 'site')}: "
            "their areas are minima and they get no size. Use a DEM that reaches the divide."
        )
    if floods.missing:
        out.append(floods.missing)
    out += flood_cautions(floods, sites.floods)
    smallest = ground.rules.low("grade_control.height")
    unseen, low = unseen_caution(sites), held_low_caution(sites, smallest)
    out += [note for note in (unseen, healing_note(sites.look_first), low) if note]
    return tuple(out)


def unseen_caution(sites: Sites) -> str:
    """At how many sites nobody saw the width; empty where it was seen everywhere."""
    curve = int(np.count_nonzero(sites.width_unseen))
    if not curve:
        return ""
    rest = "Measure it first."
    if any(s.width_unseen and s.ends for s in sites):
        rest = (
            "Sizes, stone, cost and days there are ranges, of which a budget counts the high end: "
            "measure first."
        )
    return (
        f"Nobody saw how wide the channel is at {curve} of {counted(sites.count, 'site')}: it is "
        f"between a regional curve's width and the narrowest that the raster would show. {rest}"
    )


def held_low_caution(sites: Sites, smallest_m: float) -> str:
    """How many grade controls are held to the smallest height; empty for none.

    Parameters
    ----------
    sites
        Sites.
    smallest_m
        The smallest height of a grade control, m.
    """
    height = sites.sized("height_m")
    grade = sites.controls == "grade"
    low = int(np.count_nonzero(grade & (height <= smallest_m) & sites.measure_first))
    if not low:
        return ""
    return (
        f"{counted(low, 'grade control')} {'is' if low == 1 else 'are'} held to "
        f"{metres(smallest_m)} until bankfull depth is measured on site."
    )


def flood_cautions(settings: FloodSettings, floods: SiteFloods) -> list[str]:
    """Say where flows are empty although something to make them from was given."""
    found = floods.compared
    if not settings.can_estimate or not found.used.size:
        return []
    out = []
    if (found.used < 0).all():
        names = [str(n) for n in found.name[0]]
        asked = settings.methods or tuple(names)
        why = [str(found.note[0, names.index(n), 2] or "") for n in asked]
        told = " ".join(f"{n}: {text}" for n, text in zip(asked, why, strict=True) if text)
        return [f"No flood method gives a flow at any site. {told}".strip()]
    lacks = [
        f"{t:g}"
        for k, t in enumerate(RETURN_PERIODS_YR)
        if np.isnan(floods.q_m3s[:, k][found.used >= 0]).all()
    ]
    if lacks:
        out.append(
            f"The rain or equations given do not cover {listed(lacks)} years: those flows are "
            "empty."
        )
    outside = (found.used >= 0) & ~found.of_used(found.limits_met)[:, 2].astype(np.bool_)
    if outside.any():
        out.append(
            f"At {outside.sum():,} of {counted(found.used.size, 'site')} no flood method is inside "
            "its published limits; flood_note says why."
        )
    return out


def flood_facts(settings: FloodSettings, floods: SiteFloods) -> dict[str, str]:
    """What the floods were made from, for the record of the run."""
    used, counts = np.unique(floods.method[floods.method != None].astype(str), return_counts=True)  # noqa: E711
    land = settings.land
    number = "none" if settings.curve_number is None else f"{settings.curve_number:g}"
    return {
        "rainfall": "none" if settings.rainfall is None else settings.rainfall.source,
        "curve number": number if land is None else land.source,
        "storm type": settings.storm_type,
        "flood methods used": listed([f"{m} ({n})" for m, n in zip(used, counts, strict=True)])
        or "none",
        "regions of equations": listed(
            [f"{name} {share:g}" for name, share in settings.regional.regions.items()]
        )
        or "none",
        "time of concentration": next(iter(floods.time.told()), NOT_KNOWN),
    }


def summary_of(ground: Ground, sites: Sites, headcuts: int, works: Works, first: str) -> str:
    """Say in one line what was found, and why the first work is first."""
    where = "on the raster" if ground.ranch is None else "inside the ranch"
    control = sites.controls
    kinds = [
        counted(n, what, plural)
        for what, plural, n in (
            ("at a headcut", "at headcuts", int(np.count_nonzero(control == "vertical"))),
            ("grade control", "grade controls", int(np.count_nonzero(control == "grade"))),
            ("spreader", "spreaders", int(np.count_nonzero(control == "spread"))),
            ("to refer", "to refer", int(np.count_nonzero(control == "refer"))),
        )
        if n
    ]
    found = f"{counted(headcuts, 'headcut')} and {counted(sites.count, 'site')} {where}"
    if len(works):
        found += f", in {counted(len(works), 'work')}"
    text = f"{found}: {listed(kinds)}." if kinds else f"{found}."
    return f"{text} {first}".strip()


def facts_of(
    ground: Ground, sites: Sites, study: StudyArea | None, settings: dict[str, str]
) -> dict[str, str]:
    """Settings and counts for the record of the run."""
    grid, report = ground.raster.grid, ground.conditioned.report
    facts: dict[str, Any] = {
        "grid": f"{grid.rows} x {grid.cols} cells of {exactly(grid.cell_m, 'm')}",
        "known cells": ground.raster.valid_cells,
        **settings,
        "reaches": ground.network.size,
        "depressions drained by a cut": report.carved,
        f"cuts of {exactly(report.notable_m, 'm')} or more": report.cut_cell.size,
        "depressions filled": report.filled_cell.size,
        "cells raised": report.filled_cells,
        "cells lowered": report.lowered_cells,
        "sites": sites.count,
        "sites with a cut-off drainage area": int(np.count_nonzero(~sites.area_complete)),
        "sites that wait for more elevations": int(
            np.count_nonzero(sites.texts(lambda s: s.structure) == MORE_ELEVATIONS)
        ),
    }
    if study is not None:
        facts["ranch and land that drains into it"] = quantity(study.area_ha, "ha", digits=3)
    return {name: str(value) for name, value in facts.items()}
