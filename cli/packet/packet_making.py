"""A packet from a plan: which sites, their pictures and words, and the finished PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import shapely

from cli import palette
from cli.figures.backdrop import Backdrop, backdrop_of
from cli.figures.map_furniture import in_legend_order
from cli.figures.profile_drawing import LongProfile
from cli.figures.section_drawing import SectionDrawing
from cli.figures.site_drawings import SiteDrawings
from cli.file_errors import OutputError
from cli.packet.front import (
    cover_data,
    legend_data,
    list_data,
    order_data,
    totals_data,
)
from cli.packet.packet_maps import MapForm, draw_map, ranch_bounds, sheet_of, site_bounds
from cli.packet.packet_pictures import (
    code_svg,
    drawing,
    geo_address,
    headcut_svg,
    profile_svg,
    section_svg,
    symbol_svg,
)
from cli.packet.printable import all_raised, every_text, not_drawn
from cli.packet.site_sheet import Pictures, Place, sheet_data
from cli.packet.typesetting import typeset
from cli.packet.work_pages import (
    looks_data,
    waiting_data,
    work_heading,
    work_steps,
    works_data,
)
from cli.plan.explanation import Explanation, Record, Wanted, explanation, known
from cli.plan.plan_reading import PlanFile
from cli.plan.plan_works import SiteGroup, not_built, site_groups, tells_works
from cli.plan.structure_looks import looks_of
from terrain.values.progress import Progress, silent

Row = Mapping[str, Any]
#: Inches between the margins, by paper.
CONTENT_WIDTH: Final[Mapping[str, float]] = MappingProxyType({"letter": 7.3, "a4": 7.07})
_COVER_MAP_HEIGHT: Final[Mapping[str, float]] = MappingProxyType({"letter": 6.3, "a4": 6.9})
_MAP_WIDTH, _MAP_HEIGHT, _FIGURE_HEIGHT, _GAP = 3.6, 2.6, 1.8, 12 / 72
_WORK_MAP_HEIGHT: Final = 3.9
#: Up to so many sheets each is laid out to fit best, which takes 13 MB for each; beyond that all
#: are laid out alike, in the way that fits the longest.
FITTED = 150
#: Profile and section share the width so.
_SPLIT = (1.55, 1.0)


def chosen_sites(
    plan: PlanFile, *, sites: Sequence[Wanted] | None = None, top: int | None = None
) -> list[Row]:
    """Sites that get a sheet, in the order of their rank.

    Parameters
    ----------
    plan
        The plan.
    sites
        Sites asked for; None for all.
    top
        Only the sites of so many works, the best; of single sites in a plan of an older format.

    Raises
    ------
    OutputError
        A plan without sites, or without one that was asked for.
    """
    rows: list[Row] = sorted(plan.rows("sites"), key=lambda s: int(s["list_place"]))
    if not rows:
        raise OutputError(f"{plan.name} holds no sites: there is nothing to print")
    if sites is None and top is not None and tells_works(plan.layers):
        return [site for group in site_groups(plan.layers)[:top] for site in group.sites]
    if sites is None:
        return rows[:top]
    wanted = []
    for one in sites:
        key, what = one.key, one.what
        found = [s for s in rows if s[key] == one.number and one.number]
        if not found:
            have = sorted(int(s[key]) for s in rows if int(s[key]))
            raise OutputError(
                f"{plan.name} has no {what} {one.number}",
                expected=f"{what} {have[0]} to {have[-1]}" if have else "a site by its number",
            )
        wanted += found
    unique: dict[int, Row] = {int(s["site_id"]): s for s in wanted}
    return sorted(unique.values(), key=lambda s: int(s["list_place"]))[:top]


def make_packet(
    plan: PlanFile,
    chosen: Sequence[Row],
    *,
    paper: str = "letter",
    dem: Sequence[str] = (),
    progress: Progress = silent,
) -> tuple[bytes, tuple[str, ...]]:
    """Make the packet of a plan.

    Parameters
    ----------
    plan
        The plan.
    chosen
        Sites that get a sheet.
    paper
        ``letter`` or ``a4``.
    dem
        Elevation raster or its tiles, for a finer relief with contours; empty to use the plan's.
    progress
        Told what is done.

    Returns
    -------
    tuple
        The PDF, and remarks that a person should read.

    Raises
    ------
    GullywalkError
        A raster that does not belong to the plan, or a packet that cannot be set.
    """
    layers = plan.layers
    bounds = ranch_bounds(layers)
    backdrop, notes = backdrop_of(plan, dem, bounds)
    files: dict[str, bytes] = {}
    with drawing():
        cover = _cover(plan, chosen, backdrop, paper, files)
        sheets, drawings, places = [], SiteDrawings(plan), _places(plan, chosen)
        for count, site in enumerate(chosen):
            progress("drawing", 0.8 * count / len(chosen))
            place = places[int(site["site_id"])]
            sheet = _sheet(plan, site, place, drawings, backdrop, files=files, paper=paper)
            page = _work_page(plan, place, backdrop, paper, files)
            sheets.append({**sheet, "work_page": page})
    years = float(chosen[0]["design_return_period_yr"])
    numbers = [int(s["site_id"]) for s in chosen]
    data: dict[str, Any] = {
        "paper": paper,
        "fit_each": len(chosen) <= FITTED,
        "cover": cover,
        **_lists(plan, numbers),
        "order": order_data(plan),
        "totals": totals_data(plan),
        "sheets": sheets,
        "words": {
            "years": f"1 in {years:.0f}" if years == years else "",
            "currency": cover["currency"],
        },
    }
    cover["notes"] = missing = _missing_words(data)
    progress("setting", 0.8)
    made = typeset(all_raised(data), files)
    progress("setting", 1.0)
    return made, (*notes, *missing)


def _lists(plan: PlanFile, numbers: Sequence[int]) -> dict[str, Any]:
    """Works and what is not built; of a plan of an older format its sites."""
    if tells_works(plan.layers):
        return {
            "list": [],
            "works": works_data(site_groups(plan.layers), plan.units, numbers),
            "waiting": waiting_data(not_built(plan.layers), plan.units, numbers),
            "looks": looks_data(plan.layers, plan.units),
        }
    rows = sorted(plan.rows("sites"), key=lambda s: int(s["list_place"]))
    return {
        "list": list_data(plan, rows, set(numbers)),
        "works": None,
        "waiting": None,
        "looks": [],
    }


def _places(plan: PlanFile, chosen: Sequence[Row]) -> dict[int, Place]:
    """Where each sheet stands: by the rank of its work, or among what is not built."""
    groups = site_groups(plan.layers)
    shown = {int(s["site_id"]) for s in chosen}
    currency = str(plan.run_info.get("currency", ""))
    out = {}
    for group in groups:
        heading = work_heading(group, groups, units=plan.units, currency=currency)
        for site in group.sites:
            number = int(site["site_id"])
            words = f"RANK {group.rank} · SITE {number}"
            if number in shown:
                out[number] = Place(str(group.rank), words, group.sites, heading)
                heading = None  # told once
    for one in not_built(plan.layers):
        number = int(one.site["site_id"])
        words = f"RANK {one.mark}"
        if one.referred is not None:
            words = f"FOR AN ENGINEER, {one.referred['risk_rank']} BY WHAT IS AT RISK"
        elif one.mark == "-":
            words = "ON HOLD"
        out[number] = Place(one.mark, f"{words} · SITE {number}")
    return out


def _missing_words(data: Mapping[str, Any]) -> list[str]:
    """Say which characters have no shape in the fonts at hand."""
    missing = not_drawn(every_text(dict(data)))
    if not missing:
        return []
    codes = [f"U+{ord(c):04X}" for c in missing[:6]]
    more = f" and {len(missing) - 6} more" if len(missing) > 6 else ""
    return [
        f"The fonts of this packet lack the shape of some characters ({', '.join(codes)}{more}); "
        "empty boxes stand for them. The plan itself holds them."
    ]


def _cover(
    plan: PlanFile, chosen: Sequence[Row], backdrop: Backdrop, paper: str, files: dict[str, bytes]
) -> dict[str, Any]:
    width, height = sheet_of(
        ranch_bounds(plan.layers), CONTENT_WIDTH[paper], _COVER_MAP_HEIGHT[paper]
    )
    made = draw_map(
        plan.layers,
        backdrop,
        bounds=ranch_bounds(plan.layers),
        form=MapForm(width, height, image_dpi=200),
        units=plan.units,
    )
    files["cover.svg"] = made.svg
    symbols = {}
    for key, symbol, sure in (
        *((s.key, s, True) for s in in_legend_order(made.wanted.symbols)),
        ("unsure", palette.SITE_SYMBOLS[0], False),
    ):
        symbols[key] = f"symbol-{key}.svg"
        files[symbols[key]] = symbol_svg(symbol, sure=sure)
    symbols["headcut"] = "symbol-headcut.svg"
    files[symbols["headcut"]] = headcut_svg()
    data = cover_data(plan, chosen, source_line=backdrop.source_line)
    return {
        **data,
        "map": "cover.svg",
        "map_width": width,
        "unnumbered": made.wanted.unnumbered,
        "contours": made.contour_words,
        "legend": legend_data(made.wanted, symbols, roads=made.roads),
        "currency": totals_data(plan)["currency"],
    }


def _work_page(
    plan: PlanFile, place: Place, backdrop: Backdrop, paper: str, files: dict[str, bytes]
) -> dict[str, Any] | None:
    """Page of a work of several sites, before the first of its sheets; None elsewhere."""
    if place.heading is None or len(place.group) < 2:
        return None
    numbers = [int(s["site_id"]) for s in place.group]
    parts = np.array([site_bounds(_point_of(plan, n), 0.0) for n in numbers])
    west, south = parts[:, :2].min(axis=0).tolist()
    east, north = parts[:, 2:].max(axis=0).tolist()
    width, name = CONTENT_WIDTH[paper], f"work-{numbers[0]}.svg"
    made = draw_map(
        plan.layers,
        backdrop,
        bounds=(west, south, east, north),
        form=MapForm(width, _WORK_MAP_HEIGHT, image_dpi=130, small=True),
        units=plan.units,
    )
    files[name] = made.svg
    group = SiteGroup(0, place.group)
    return {
        **place.heading,
        "mark": place.mark,
        "map": name,
        "map_width": width,
        "steps": work_steps(group, looks_of(plan.layers)),
    }


def _sheet(
    plan: PlanFile,
    site: Row,
    place: Place,
    drawings: SiteDrawings,
    backdrop: Backdrop,
    *,
    paper: str,
    files: dict[str, bytes],
) -> dict[str, Any]:
    number = int(site["site_id"])
    found = explanation(plan.layers, Wanted(number), plan=plan.name, units=plan.units)
    point = _point_of(plan, number)
    length = float(site["structure_length_m"])
    made = draw_map(
        plan.layers,
        backdrop,
        bounds=site_bounds(point, length if length == length else 0.0),
        form=MapForm(_MAP_WIDTH, _MAP_HEIGHT, image_dpi=130, small=True),
        units=plan.units,
        mark=(point.x, point.y),
    )
    pictures = _pictures(found, drawings, paper, files)
    files[pictures.map] = made.svg
    crs = plan.crs
    data = sheet_data(
        found,
        pictures,
        easting_m=point.x,
        northing_m=point.y,
        crs_name=crs.name if crs is not None else "unknown",
        place=place,
    )
    return {**data, "map_width": _MAP_WIDTH, "split": list(_SPLIT)}


def _pictures(
    found: Explanation, drawings: SiteDrawings, paper: str, files: dict[str, bytes]
) -> Pictures:
    """Draw profile, section, code and symbol of a site."""
    site, units = found.site, found.units
    number = int(site["site_id"])
    profile, section = drawings.profile(site), drawings.section(site)
    room = CONTENT_WIDTH[paper]
    both = profile is not None and section is not None
    share = [(room - _GAP) * s / sum(_SPLIT) for s in _SPLIT] if both else [room, room]
    words: dict[str, str] = {}
    if profile is not None:
        files[f"profile-{number}.svg"], words["profile_scale"] = profile_svg(
            profile,
            units=units,
            width=share[0],
            height=_FIGURE_HEIGHT,
            on_road=found.on_road,
        )
        words["profile_levels"] = _level_words(profile) + _box_words(profile) + _widest_words(site)
        words["profile"] = f"profile-{number}.svg"
    if section is not None:
        files[f"section-{number}.svg"], words["section_scale"] = section_svg(
            section, units=units, width=share[1], height=_FIGURE_HEIGHT
        )
        words["section"] = f"section-{number}.svg"
        # whose words say already that it is drawn at the widest
        words["section_note"] = _box_words(section)
    files[f"code-{number}.svg"] = code_svg(geo_address(site["lon"], site["lat"]))
    sure = float(site["confidence"]) >= palette.LOW_CONFIDENCE
    symbol = found.looks.symbol(site["control"], site["structure"])
    files[f"symbol-site-{number}.svg"] = symbol_svg(symbol, sure=sure)
    return Pictures(
        map=f"map-{number}.svg",
        code=f"code-{number}.svg",
        symbol=f"symbol-site-{number}.svg",
        **words,
    )


def _level_words(profile: LongProfile) -> str:
    """Say what the tinted levels in a profile are."""
    pool = " Dashed: still pool behind a structure." if profile.pools else ""
    wedge = " Tinted above the bed: sediment that fills in." if profile.wedges else ""
    return pool + wedge


def _box_words(drawing: LongProfile | SectionDrawing) -> str:
    """Say so where a structure is drawn as a box for want of an outline."""
    box = " Drawn as a box: its type gives footprint and height, not how it looks from here."
    return box if drawing.as_box else ""


def _widest_words(site: Record) -> str:
    """Say so where a structure is drawn at the widest, since nobody saw the width."""
    if not (known(site["width_low_m"]) and known(site["structure_height_m"])):
        return ""
    return " Drawn at the widest that the channel may be: nobody saw its width."


def _point_of(plan: PlanFile, number: int) -> shapely.Point:
    layer = plan.layers["sites"]
    assert layer.geometry is not None  # a layer of points
    return layer.geometry[layer.columns["site_id"].tolist().index(number)]
