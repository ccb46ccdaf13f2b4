"""What stands on the sheet of one site, as plain data for the typesetter."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cli.packet import site_sheet_parts as parts
from cli.packet.packet_pictures import geo_address
from cli.packet.packet_words import title_of
from cli.packet.printable import printable, sentences, within
from cli.packet.site_sheet_parts import number, percent
from cli.plan.explanation import Explanation, known
from cli.plan.fields import CONTROLS
from cli.plan.fields_ground import DECISIONS, SOILS
from cli.plan.plan_numbers import size_across

_ENDS_AT = re.compile(r" \(ends at: [^)]*\)")


@dataclass(frozen=True, slots=True)
class Pictures:
    """Names of a sheet's picture files, and the words about their scale; empty where none."""

    map: str
    code: str
    symbol: str
    profile: str = ""
    profile_scale: str = ""
    profile_levels: str = ""
    section: str = ""
    section_scale: str = ""
    section_note: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a sheet stands among the others.

    Parameters
    ----------
    mark
        Rank, or what stands for it.
    marked
        The same in words, with the number of the site.
    group
        Sites of its work in the order of building; the site alone in an older plan.
    heading
        What is told of the work; on the first of its sheets only.
    """

    mark: str
    marked: str
    group: tuple[Mapping[str, Any], ...] = ()
    heading: Mapping[str, Any] | None = None


def sheet_data(
    found: Explanation,
    pictures: Pictures,
    *,
    easting_m: float,
    northing_m: float,
    crs_name: str,
    place: Place,
) -> dict[str, Any]:
    """Put together the sheet of one site.

    Parameters
    ----------
    found
        Everything that the plan knows about it.
    pictures
        Its pictures.
    easting_m, northing_m, crs_name
        Where it is on the plan's grid.
    place
        Where it stands in the packet.

    Returns
    -------
    dict
        Texts and lists only.
    """
    site = found.site
    control = str(site["control"])
    return {
        "site": int(site["site_id"]),
        "mark": place.mark,
        "marked": place.marked,
        "work_heading": dict(place.heading) if place.heading and len(place.group) == 1 else None,
        "title": printable(title_of(found.look.label, control), 60),
        "sizes_line": _sizes_line(found),
        "purpose": printable(dict(CONTROLS).get(control, "")),
        "with": _together(found, place.group),
        "where": _where(found, easting_m, northing_m, crs_name),
        "geo": geo_address(site["lon"], site["lat"]),
        "why": _why(found),
        "pictures": {name: getattr(pictures, name) for name in Pictures.__dataclass_fields__},
        "way": "road" if found.on_road else "channel",
        "profile_words": _profile_words(found, pictures),
        "section_words": _section_words(found, pictures),
        "sizes": parts.sizes(found),
        "measure_first": parts.measure_first(found),
        "materials": parts.materials(found),
        "work": parts.work(found),
        "flood": parts.flood(found),
        "settle": parts.to_settle(found),
        "cautions": parts.cautions(found),
        "build": parts.build_steps(found),
        "fails": parts.failures(found),
        "check": parts.look_first(found),
        "planned": parts.planned(found),
        "soils": [code for code, _ in SOILS],
        "decisions": [code for code, _ in DECISIONS],
    }


def _sizes_line(found: Explanation) -> str:
    """How big it is, in one line."""
    site = found.site
    if site["control"] == "refer":
        drop = number(found, "headcut_height_m")
        what = f"a drop of {drop}" if drop else "this place"
        return f"Nothing to build by hand: an engineer looks at {what} first"
    if site["control"] == "hold":
        return "Nothing to build before what is said here is settled on site"
    along = "along the road" if found.on_road else "along the channel"
    words = [
        f"{number(found, name)} {word}"
        for name, word in (
            ("structure_height_m", found.look.height_word),
            ("structure_length_m", along),
        )
        if number(found, name)
    ]
    if site["structure_height_m"] == 0:
        words[0] = "Flush with the bed"
    if across := size_across(found):
        words.append(f"{across} across")
    return ", ".join(words)


def _together(found: Explanation, group: Sequence[Mapping[str, Any]]) -> str:
    """Which sites it belongs to, and in which order they are built."""
    site = found.site
    if len(group) > 1:
        numbers = [int(s["site_id"]) for s in group]
        at = numbers.index(int(site["site_id"]))
        return _order_words(at, [f"site {n}" for n in numbers], "of this work")
    if not found.mates or site["work_id"]:
        return ""
    order = sorted([site, *found.mates], key=lambda s: int(s["build_order"]))
    if not all(int(s["build_order"]) for s in order):
        names = ", ".join(f"rank {s['rank']}" for s in found.mates)
        return printable(f"Works together with {names}.", 160)
    ranks = [f"rank {s['rank']}" for s in order]
    return _order_words(order.index(site), ranks, "that work together")


def _order_words(at: int, names: Sequence[str], of_what: str) -> str:
    """Say what is built before and after the one at some place."""
    words = f"Number {at + 1} of {len(names)} {of_what}"
    before, after = names[:at], names[at + 1 :]
    if before:
        words += f": build it after {listed(before)}"
        return f"{words} and before {listed(after)}." if after else f"{words}."
    return f"{words}: build it first, before {listed(after)}."


def listed(names: Sequence[str], most: int = 4) -> str:
    """Join names with commas and a last ``and``; what goes beyond the most is counted."""
    shown = list(names[:most])
    more = len(names) - len(shown)
    if more:
        return f"{', '.join(shown)} and {more} more"
    return " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else shown[0]


def _where(
    found: Explanation, easting_m: float, northing_m: float, crs_name: str
) -> list[list[str]]:
    site = found.site

    def grouped(value: float) -> str:
        return f"{value:,.0f}".replace(",", "\u202f")

    rows = [
        ["Lat, lon", f"{site['lat']:.6f}, {site['lon']:.6f}"],
        ["Grid", f"{grouped(easting_m)}\u00a0E, {grouped(northing_m)}\u00a0N"],
        ["", f"{printable(crs_name, 60)}, metres"],
        ["Bed", f"{number(found, 'elevation_m', 4)}, falls {_falls(site)}"],
    ]
    if found.on_road:
        rows[-1] = [
            "Road",
            f"{number(found, 'elevation_m', 4)}, falls {percent(site['slope'])}",
        ]
    else:
        rows.append(["Drains here", number(found, "drainage_area_ha")])
        road = number(found, "nearest_road_m")
        rows.append(["Nearest road", road or "not given"])
    return rows


def _falls(site: Mapping[str, Any]) -> str:
    """Bed slope at a site, and above and below it where they are known."""
    around = [
        f"{percent(site[name])} {where}"
        for name, where in (("slope_above", "above"), ("slope_below", "below"))
        if known(site[name])
    ]
    return f"{percent(site['slope'])}" + (f" ({', '.join(around)})" if around else "")


def _why(found: Explanation) -> list[str]:
    """Three sentences: the site's own reason, and what is gained where that is shorter."""
    own = sentences(found.site["reason"])
    told = (_ENDS_AT.sub("", str(row["text"] or "")) for row in found.reasons("benefit"))
    gains = [s for text in told for s in sentences(text)]
    return within(list(dict.fromkeys([*own, *gains]))[:3], 620)


def _profile_words(found: Explanation, pictures: Pictures) -> str:
    site = found.site
    if not pictures.profile:
        return "The plan holds no long profile of this place."
    if found.on_road:
        return f"The road as it is now, uphill to the right.{pictures.profile_levels}"
    water = (
        " Line above: the design flood at its depth in the measured channel."
        if known(site["design_depth_m"])
        else ""
    )
    levels = pictures.profile_levels
    now = (
        "Ground as it is now, before any digging."
        if site["control"] == "vertical"
        else ("Elevations as measured.")
    )
    return f"{now}{water}{levels}"


def _section_words(found: Explanation, pictures: Pictures) -> str:
    note = pictures.section_note
    if found.on_road:
        return f"The road as it is now.{note}"
    if found.site["width_source"] == "curve":
        words = "Nobody saw the channel: drawn at the widest that it may be, measure it."
        return words + note
    drop = known(found.site["headcut_height_m"])
    return (
        "The channel below the drop, as measured." if drop else "Elevations as measured."
    ) + note
