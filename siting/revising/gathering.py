"""Rows from the field taken together by site; what cannot be is set aside, with why."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from siting.revising.field_rows import MEASURES, SITE, ReadRow
from siting.revising.site_measures import (
    CONFLICTING,
    IMPOSSIBLE,
    JOINED,
    MOVE,
    SAME,
    UNKNOWN,
    UNMOVED_M,
    FieldSite,
    Origin,
    Planned,
    SetAside,
    fault_of,
    field_of,
    shortened,
)
from siting.values.rules import Rules
from siting.values.wording import metres


@dataclass(slots=True)
class _Gathered:
    """Values of one site and revision while its rows are read."""

    values: dict[str, list[tuple[float | str, Origin, str, str]]] = field(default_factory=dict)
    doubts: dict[str, tuple[Origin, str]] = field(default_factory=dict)


def gather(
    rows: Sequence[ReadRow],
    planned: Mapping[int, Planned],
    rules: Rules,
    *,
    revision: int,
    source: str,
    project: Callable[[float, float], tuple[float, float]],
    before: Mapping[int, FieldSite] | None = None,
) -> tuple[dict[int, FieldSite], tuple[SetAside, ...]]:
    """Take the rows of one file together by site; later files replace what earlier ones said.

    Parameters
    ----------
    rows
        As read.
    planned
        The plan's sites by number.
    rules
        Limits; those of the group ``revise`` count.
    revision, source
        Number of this revision, and name of the file.
    project
        Turns longitude and latitude into the plan's coordinates.
    before
        What earlier revisions said.

    Returns
    -------
    tuple
        Sites by number, and what is set aside.
    """
    aside: list[SetAside] = []
    by_site: dict[int, _Gathered] = {}
    for one in rows:
        origin = Origin(revision, source, one.row.number)
        given = one.texts.get(SITE, "")
        number = _site_number(given)
        if number not in planned:
            if given or not one.row.blank:
                why = (
                    f"The plan has no site '{shortened(given)}'." if given else "No site is named."
                )
                aside.append(SetAside(origin, shortened(given), "", "", UNKNOWN, why))
            continue
        own = by_site.setdefault(number, _Gathered())
        for what, value in _values(one, project, planned[number]).items():
            column = one.names.get(what, what)
            text = one.row.texts.get(column, "")
            kind, why = fault_of(what, value, text, planned[number], rules)
            if why:
                aside.append(SetAside(origin, str(number), column, text, kind, why))
                if kind == IMPOSSIBLE:
                    own.doubts[what] = origin, why
            else:
                own.values.setdefault(what, []).append((value, origin, column, text))
    sites = dict(before or {})
    for number, own in by_site.items():
        found = _settled(own, sites.get(number, FieldSite()), number, aside)
        sites[number] = _consistent(found, planned[number], rules, number, aside)
    return sites, tuple(aside)


def _site_number(text: str) -> int:
    """Read ``12`` or ``12.0``; -1 for anything else."""
    try:
        value = float(text)
    except ValueError:
        return -1
    return int(value) if math.isfinite(value) and value == int(value) and value >= 0 else -1


def _values(
    one: ReadRow, project: Callable[[float, float], tuple[float, float]], planned: Planned
) -> dict[str, float | str]:
    out: dict[str, float | str] = {k: v for k, v in one.numbers.items() if k in MEASURES}
    n = one.numbers
    position = None
    if "x" in n and "y" in n:
        position = n["x"], n["y"]
    elif "lon" in n and "lat" in n:
        position = project(n["lon"], n["lat"])
    elif one.row.point_m is not None:
        x, y = one.row.point_m
        # a point that nobody moved tells nothing
        if math.hypot(x - planned.x_m, y - planned.y_m) > UNMOVED_M:
            position = x, y
    if position is not None:
        out["x"], out["y"] = position
    return out | {k: v for k, v in one.texts.items() if k != SITE}


def _settled(own: _Gathered, before: FieldSite, number: int, aside: list[SetAside]) -> FieldSite:
    """Take values that agree; those of two rows that do not are set aside, all of them."""
    out, origins = before, dict(before.origins)
    # what is measured again is no longer doubted
    doubts = {k: v for k, v in before.doubts.items() if k not in own.values} | own.doubts
    for what, given in own.values.items():
        first = given[0][0]
        if what in ("x", "y"):
            what_of, agree = "position", _positions_agree(own)
        else:
            what_of = what
            agree = what in JOINED or all(_same(first, v) for v, *_ in given)
        if not agree:
            if what == "y":
                continue
            rows = ", ".join(str(o.row) for _, o, *_ in given)
            for value, origin, column, text in given:
                why = f"Rows {rows} give site {number} another {what_of.replace('_', ' ')} each."
                shown = text or f"{value}"
                aside.append(SetAside(origin, str(number), column, shown, CONFLICTING, why))
                if what in (*MEASURES, "decision"):
                    doubts[what] = origin, why
            continue
        value, origin, column, text = given[-1]
        if what in JOINED:
            value = "; ".join(dict.fromkeys(str(v) for v, *_ in given))
        origins[what] = (origin, column, text or str(value))
        out = replace(out, **{field_of(what): value.lower() if what == "decision" else value})  # type: ignore[arg-type,union-attr]
    return replace(out, origins=origins, doubts=doubts)


def _positions_agree(own: _Gathered) -> bool:
    return all(
        abs(float(v) - float(own.values[axis][0][0])) <= 0.01
        for axis in ("x", "y")
        for v, *_ in own.values.get(axis, [])
    )


def _same(one: float | str, other: float | str) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return str(one).strip().lower() == str(other).strip().lower()
    return abs(one - other) <= SAME * max(abs(one), abs(other))


def _consistent(
    found: FieldSite, planned: Planned, rules: Rules, number: int, aside: list[SetAside]
) -> FieldSite:
    """Set aside what cannot be together at one site."""

    def drop_out(site: FieldSite, what: str, kind: str, why: str) -> FieldSite:
        origin, column, text = site.origins[what]
        aside.append(SetAside(origin, str(number), column, text, kind, why))
        return site.without(what).doubted(what, origin, why)

    spare = rules.value("revise.tape_error")
    if found.bankfull_depth_m > found.depth_m + spare:
        why = (
            f"Bankfull of {metres(found.bankfull_depth_m)} in a channel measured "
            f"{metres(found.depth_m)} deep: it cannot stand above the banks."
        )
        found = drop_out(found, "bankfull_depth", IMPOSSIBLE, why)
    over = rules.value("revise.drop_over_depth")
    if found.drop_m > found.depth_m + over:
        why = (
            f"A drop of {metres(found.drop_m)} above a channel measured {metres(found.depth_m)} "
            "deep: the channel below a drop is as deep as the drop, or more."
        )
        found = drop_out(found, "drop", IMPOSSIBLE, why)
    if found.decision == MOVE:
        away = math.hypot(found.x_m - planned.x_m, found.y_m - planned.y_m)
        most = rules.value("revise.move")
        if not math.isfinite(away):
            why = "The decision is to move the site, and no position is given."
            found = drop_out(found, "decision", CONFLICTING, why)
        elif away > most:
            why = (
                f"Moved {metres(away)}, further than {metres(most)}: what the elevations told "
                "belongs to another place. The site stays where it is; screen the ranch again."
            )
            found = drop_out(found, "decision", IMPOSSIBLE, why)
    return found
