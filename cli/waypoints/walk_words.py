"""A walk in words and numbers: for the console, the files and the map."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Mapping, Sequence

from cli.plan.fields import FOOT_M, MILE_M, Units
from cli.plan.plan_works import BUILT
from cli.waypoints.waypoint import Waypoint, names_by_site
from siting.values.wording import counted, listed
from siting.walking.walk import Leg, Walk

_HEADINGS = ("stop", "site", "rank", "what", "far", "climb", "descent", "on foot", "since start")
_WIDTHS = (5, 5, 5, 25, 9, 8, 8, 9, 11)


def far(length_m: float, units: Units) -> str:
    """Write a length to walk: km and m, or miles and feet."""
    if units == "us":
        feet = length_m / FOOT_M
        return f"{length_m / MILE_M:.1f} mi" if feet >= 1000 else f"{feet:.0f} ft"
    return f"{length_m / 1000:.1f} km" if length_m >= 1000 else f"{length_m:.0f} m"


def high(height_m: float, units: Units) -> str:
    """Write a climb in whole metres or feet."""
    return f"{height_m / FOOT_M:.0f} ft" if units == "us" else f"{height_m:.0f} m"


def long(time_s: float) -> str:
    """Write a time in minutes, or in hours and minutes."""
    minutes = round(time_s / 60)
    if minutes < 1:
        return "0 min" if time_s == 0 else "<1 min"
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _stay_s(walk: Walk, legs: Sequence[Leg]) -> float:
    return 60 * walk.minutes_per_site * sum(leg.to_site is not None for leg in legs)


def loop_words(walk: Walk, number: int, units: Units, by_site: Mapping[int, Waypoint]) -> str:
    """How far and how long a loop is, in one line without its name."""
    legs = walk.loops[number - 1]
    foot, stay = sum(leg.walk_s for leg in legs), _stay_s(walk, legs)
    return (
        f"{works_words(_visited(legs, by_site))}, "
        f"{far(sum(leg.distance_m for leg in legs), units)}, "
        f"{high(sum(leg.climb_m for leg in legs), units)} up, "
        f"{high(sum(leg.descent_m for leg in legs), units)} down, "
        f"{long(foot)} on foot, {long(stay)} at sites, {long(foot + stay)} in all"
    )


def stops_words(points: Sequence[Waypoint]) -> str:
    """How many sites there are, and how many stops that is: a work is one."""
    sites = counted(len(points), "site")
    stops = len({_stop_key(point) for point in points})
    return sites if stops == len(points) else f"{counted(stops, 'stop')} ({sites})"


def stops_on(legs: Sequence[Leg], by_site: Mapping[int, Waypoint]) -> int:
    """Count the stops of a loop: a work is one."""
    return len({_stop_key(point) for point in _visited(legs, by_site)})


def works_words(points: Sequence[Waypoint]) -> str:
    """How many works are visited and how many places that hands do not build; their sites last."""
    works = len({_stop_key(point) for point in points if point.control in BUILT})
    waiting = sum(point.control not in BUILT for point in points)
    parts = [counted(works, "work")] if works or not waiting else []
    parts += [f"{counted(waiting, 'place')} not for hands"] if waiting else []
    sites = "" if works + waiting == len(points) else f" ({counted(len(points), 'site')})"
    return f"{listed(parts)}{sites}"


def _visited(legs: Sequence[Leg], by_site: Mapping[int, Waypoint]) -> list[Waypoint]:
    return [by_site[leg.to_site] for leg in legs if leg.to_site is not None]


def _stop_key(point: Waypoint) -> tuple[str, int]:
    return ("stop", point.stop_id) if point.stop_id > 0 else ("site", point.site_id)


def stop_numbers(legs: Sequence[Leg], by_site: Mapping[int, Waypoint]) -> list[int]:
    """Number of the stop that each leg leads to, the way back as the last; a work is one stop."""
    out: list[int] = []
    before = None
    for leg in legs:
        key = None if leg.to_site is None else _stop_key(by_site[leg.to_site])
        same = bool(out) and key is not None and key == before
        out.append(out[-1] if same else len(set(out)) + 1)
        before = key
    return out


def summary(walk: Walk, points: Sequence[Waypoint], units: Units) -> str:
    """The whole walk in a line."""
    loops = len(walk.loops)
    distance = far(sum(leg.distance_m for leg in walk.legs), units)
    climb = high(sum(leg.climb_m for leg in walk.legs), units)
    return (
        f"{counted(loops, 'loop')} to {works_words(_visited(walk.legs, names_by_site(points)))}: "
        f"{distance}, {climb} of climbing, "
        f"{long(walk.walk_s)} on foot and {long(_stay_s(walk, walk.legs))} at the sites."
    )


def how_good(walk: Walk) -> list[str]:
    """Say how good the order is, and what another order would cost."""
    tours, straight = walk.tours, walk.straight
    said = []
    if tours.exact:
        said.append(
            "All orders were tried, works kept together: none takes fewer loops or less walking."
        )
    else:
        bound = f"The walking is at most {100 * tours.gap:.0f} % above a lower bound"
        weak = (
            " that knows how many loops there are but not how long they may be"
            if len(tours.loops) > 1
            else ""
        )
        said.append(f"{bound}{weak}.")
    if tours.fewest < len(tours.loops) and not tours.exact:
        said.append(f"{tours.fewest} loops could not be ruled out.")
    ratio = straight.ways_s / walk.walk_s if walk.walk_s else 1.0
    loops = f"{straight.loops} {'loop' if straight.loops == 1 else 'loops'}"
    said.append(
        f"The order that is shortest on a flat map takes {ratio:.2f} times the walking along the "
        f"best ways ({long(straight.ways_s)}, {loops}), {_along_lines(walk)}."
    )
    return said


def _along_lines(walk: Walk) -> str:
    lines = walk.straight.lines_s
    if lines == float("inf"):
        return "and its straight lines lead over ground that nobody can walk"
    ratio = lines / walk.walk_s if walk.walk_s else 1.0
    return f"and {ratio:.2f} times along its straight lines ({long(lines)})"


def left_out(walk: Walk) -> list[str]:
    """Say which sites the walk does not visit."""
    said = []
    if walk.unreached:
        many = len(walk.unreached) > 1
        said.append(
            f"No way leads from the start to {'sites' if many else 'site'} "
            f"{', '.join(map(str, walk.unreached))} and back: left out of the walk."
        )
    for site, hours in walk.too_far:
        said.append(
            f"Site {site} takes {hours:.1f} hours by itself: left out of the walk. "
            "Give more with --hours, or a nearer --start."
        )
    return said


def legs_table(walk: Walk, points: Sequence[Waypoint], units: Units) -> list[str]:
    """Lines of a table of legs, loop by loop, at most 100 columns wide."""
    by_site = names_by_site(points)
    lines = []
    for number, legs in enumerate(walk.loops, start=1):
        name = f"Loop {number}" if len(walk.loops) > 1 else "Walk"
        heading = f"{name}: {loop_words(walk, number, units, by_site)}."
        lines += ["", *textwrap.wrap(heading, sum(_WIDTHS) + len(_WIDTHS) - 1), _row(_HEADINGS)]
        lines.append(" ".join("-" * width for width in _WIDTHS))
        since, before = 0.0, 0
        for stop, leg in zip(stop_numbers(legs, by_site), legs, strict=True):
            since += leg.walk_s
            point = by_site[leg.to_site] if leg.to_site is not None else None
            cells = (
                str(stop) if point and stop != before else "",
                str(point.site_id) if point else "",
                point.mark if point else "",
                _cut(point.what if point else "back at the start", _WIDTHS[3]),
                far(leg.distance_m, units),
                high(leg.climb_m, units),
                high(leg.descent_m, units),
                long(leg.walk_s),
                long(since),
            )
            lines.append(_row(cells))
            before = stop
            since += 60 * walk.minutes_per_site if point else 0.0
    return lines


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."


def _row(cells: Sequence[str]) -> str:
    parts = [
        cell.ljust(width) if i == 3 else cell.rjust(width)
        for i, (cell, width) in enumerate(zip(cells, _WIDTHS, strict=True))
    ]
    return " ".join(parts).rstrip()


def legs_csv(walk: Walk, points: Sequence[Waypoint], units: Units) -> str:
    """Legs as CSV; the start has neither site nor rank."""
    by_site = names_by_site(points)
    unit, factor = ("ft", 1 / FOOT_M) if units == "us" else ("m", 1.0)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["loop", "stop", "from_site", "to_site", "rank", "what"]
        + [f"{name}_{unit}" for name in ("distance", "climb", "descent")]
        + ["walk_min", "stay_min", "arrive_min", "lon", "lat"]
    )
    for legs in walk.loops:
        since = 0.0
        for stop, leg in zip(stop_numbers(legs, by_site), legs, strict=True):
            since += leg.walk_s / 60
            point = by_site[leg.to_site] if leg.to_site is not None else None
            stay = walk.minutes_per_site if point else 0.0
            writer.writerow(
                [
                    leg.loop,
                    stop,
                    *("" if v is None else v for v in (leg.from_site, leg.to_site)),
                    *([point.mark, point.what] if point else ["", "back at the start"]),
                    *(f"{v * factor:.1f}" for v in (leg.distance_m, leg.climb_m, leg.descent_m)),
                    f"{leg.walk_s / 60:.1f}",
                    f"{stay:g}",
                    f"{since:.1f}",
                    *([f"{point.lon:.6f}", f"{point.lat:.6f}"] if point else ["", ""]),
                ]
            )
            since += stay
    return out.getvalue()
