"""The change report in words, as CSV and as JSON."""

from __future__ import annotations

import csv
import io
import json
import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from cli.plan.field_types import US_WORDS
from cli.plan.fields import Units
from cli.plan.unit_sentences import in_units
from siting.revising.bias import Bias
from siting.revising.changes import ALL_SITES, Change
from siting.revising.revise import Revised
from siting.revising.site_measures import SetAside
from siting.structures.structure_type import ITEMS
from siting.values.wording import counted, figures
from terrain.values.reader_units import quantity

WIDTH = 100
#: Rows of each kind that are printed; the plan holds them all.
MOST = 40
#: What is told of a site in its own paragraph; the rest stands in the table.
_TOLD = ("structure", "height", "length", "cost", "rank", "chosen")


def summary_of(revised: Revised) -> str:
    """Say in two sentences what the field brought, and which work comes first now."""
    last = revised.tables[-1]
    measured = sum(1 for site in revised.found.values() if site.measured)
    decided = sum(1 for site in revised.found.values() if site.decision)
    aside = len(revised.set_aside)
    held = ""
    if revised.held:
        are = "is" if len(revised.held) == 1 else "are"
        held = f"{counted(len(revised.held), 'site')} {are} on hold: settle that first. "
    text = held + (
        f"Revised with {last.source}: {counted(measured, 'site')} measured, {decided} with a "
        f"decision, {aside} {'value' if aside == 1 else 'values'} set aside. "
    )
    return text + revised.now.why_first


def report(
    revised: Revised, changes: Sequence[Change], biases: Sequence[Bias], *, units: Units
) -> str:
    """Write the whole report as text, as wide as a console.

    Parameters
    ----------
    revised
        The plan before and after.
    changes, biases
        Rows of the report.
    units
        Units of its figures.
    """
    parts = [
        [in_units(summary_of(revised), units)],
        _held(revised),
        _sites(changes, units),
        _together(changes, units),
        ["How far the elevations are off on this ranch:", *(f"  {b.sentence()}" for b in biases)],
        _aside(revised.set_aside, units),
    ]
    lines: list[str] = []
    for part in parts:
        if part:
            lines += ["", *part] if lines else part
    return "\n".join(line for text in lines for line in _wrapped(text)) + "\n"


def _wrapped(text: str) -> list[str]:
    indent = " " * (len(text) - len(text.lstrip()))
    return textwrap.wrap(
        text,
        WIDTH,
        subsequent_indent=f"{indent}  " if indent else "",
        break_on_hyphens=False,
    ) or [""]


def _held(revised: Revised) -> list[str]:
    """What waits, and why: it stands before everything else."""
    if not revised.held:
        return []
    words = [f"  Site {number}: {why.removeprefix('Hold: ')}" for number, why in revised.held]
    return ["On hold, not to be built before it is settled:", *words]


def _sites(changes: Sequence[Change], units: Units) -> list[str]:
    by_site: dict[int, list[Change]] = {}
    for change in changes:
        if change.site_id != ALL_SITES:
            by_site.setdefault(change.site_id, []).append(change)
    told, only_rank = [], 0
    for site, own in by_site.items():
        if all(change.subject in ("rank", "build order") for change in own):
            only_rank += 1
            continue
        words = [w for c in own if c.kind == "measured" for w in _change(c, units)]
        words += [w for c in own if c.kind == "changed" and c.subject in _TOLD
                  for w in _change(c, units)]  # fmt: skip
        told.append(f"  Site {site}: {'; '.join(words)}.")
    out = ["Planned, and now:", *told[:MOST]] if told else []
    if len(told) > MOST:
        out.append(f"  {counted(len(told) - MOST, 'more site')} in the table 'changes'.")
    if only_rank:
        out.append(f"  {counted(only_rank, 'other site')} only change rank.")
    return out


def _change(change: Change, units: Units) -> Iterator[str]:
    if change.planned_text or change.now_text:
        before = f"{change.planned_text} -> " if change.planned_text else ""
        yield f"{change.subject} {before}{change.now_text}"
        return
    now = _number(change, change.now, units)
    if change.subject == "position":
        noted = "" if change.note.startswith("The site was moved") else " (noted only)"
        yield f"position {now} from the planned point{noted}"
        return
    if change.kind == "measured" and not math.isfinite(change.planned):
        yield f"{change.subject} {now} (the elevations do not show it)"
        return
    yield f"{change.subject} {_number(change, change.planned, units)} -> {now}"


def _number(change: Change, value: float, units: Units) -> str:
    """A number with its unit; money and ranks whole, slopes in percent."""
    if not math.isfinite(value):
        return "none"
    if change.unit == "m/m":
        return f"{figures(100 * value, 3)} %"
    if change.subject in ("rank", "build order", "structures") or change.subject.startswith("cost"):
        return f"{value:,.0f} {change.unit}".removesuffix("pieces").rstrip()
    return quantity(value, change.unit, units=units, digits=3).removesuffix(" pieces")


def _together(changes: Sequence[Change], units: Units) -> list[str]:
    own = [c for c in changes if c.site_id == ALL_SITES]
    if not own:
        return ["All sites together take and cost what was planned."]
    words = []
    for change in own:
        named = ITEMS[change.subject][1] if change.subject in ITEMS else change.subject
        named = in_units(named, units)
        words.append(
            f"  {named}: {_number(change, change.planned, units)} -> "
            f"{_number(change, change.now, units)}"
        )
    return ["All sites together (material with spare):", *words]


def _aside(aside: Sequence[SetAside], units: Units) -> list[str]:
    if not aside:
        return []
    words = []
    for one in aside[:MOST]:
        column = f", {one.column}" if one.column else ""
        where = f"row {one.origin.row} of {one.origin.source}{column}"
        words.append(f"  {where} ({one.kind}): {in_units(one.reason, units)}")
    more = len(aside) - len(words)
    if more > 0:
        words.append(f"  {more} more in the table 'set_aside'.")
    return ["Set aside, not used:", *words]


def report_csv(
    revised: Revised, changes: Sequence[Change], biases: Sequence[Bias], *, units: Units
) -> str:
    """Write the report as one CSV table: changes, bias and what is set aside."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("part", "site", "subject", "planned", "now", "unit", "note"))
    for c in changes:
        site = "all" if c.site_id == ALL_SITES else c.site_id
        unit, factor = c.unit, 1.0
        if units == "us" and unit in US_WORDS:
            unit, factor = US_WORDS[unit]
        pair = (
            [_safe(c.planned_text), _safe(c.now_text)]
            if c.planned_text or c.now_text
            else [_plain(c.planned * factor), _plain(c.now * factor)]
        )
        writer.writerow((c.kind, site, c.subject, *pair, unit, _safe(in_units(c.note, units))))
    for b in biases:
        ratio = _plain(b.median)
        writer.writerow(("bias", "all", b.measure, "1", ratio, "measured/planned", b.sentence()))
    for a in revised.set_aside:
        note = f"{a.origin.source}, row {a.origin.row}: {in_units(a.reason, units)}"
        writer.writerow(
            ("set aside", _safe(a.site), _safe(a.column), "", _safe(a.given), a.kind, _safe(note))
        )
    return out.getvalue()


def _safe(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def _plain(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") if math.isfinite(value) else ""


def report_json(
    revised: Revised,
    changes: Sequence[Change],
    biases: Sequence[Bias],
    *,
    units: Units,
    files: Mapping[str, str | None],
) -> str:
    """Write the report as JSON; numbers of changes are SI, each with its unit."""
    data: dict[str, Any] = {
        "summary": in_units(summary_of(revised), units),
        "held": [{"site_id": number, "why": why} for number, why in revised.held],
        "changes": [
            {
                "site_id": c.site_id,
                "kind": c.kind,
                "subject": c.subject,
                "planned": c.planned_text or _or_none(c.planned),
                "now": c.now_text or _or_none(c.now),
                "unit": c.unit,
                "note": in_units(c.note, units),
            }
            for c in changes
        ],
        "bias": [
            {
                "measure": b.measure,
                "measurements": b.count,
                "median_ratio": _or_none(b.median),
                "low_ratio": _or_none(b.low),
                "high_ratio": _or_none(b.high),
                "text": b.sentence(),
            }
            for b in biases
        ],
        "set_aside": [
            {
                "revision": a.origin.revision,
                "source": a.origin.source,
                "row": a.origin.row,
                "site": a.site,
                "column": a.column,
                "given": a.given,
                "kind": a.kind,
                "reason": in_units(a.reason, units),
            }
            for a in revised.set_aside
        ],
        "files": dict(files),
    }
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _or_none(value: float) -> float | None:
    return value if math.isfinite(value) else None
