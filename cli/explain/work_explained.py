"""The reasoning about one work, as text of 100 columns and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator

from cli.explain.explanation_json import records_in
from cli.explain.explanation_text import cited, numbered_sources, wrapped
from cli.plan.explanation import Record, known
from cli.plan.fields_works import WORK_KINDS, WORK_PARTS
from cli.plan.plan_numbers import amount, cost_words, money, width_unseen
from cli.plan.work_explanation import WorkExplanation

#: Parts whose rows are factors, with their values in a column of their own.
_CHANCES = ("chance lost", "chance holds")
_INDENT = 10


def work_text(found: WorkExplanation) -> str:
    """Tell the whole reasoning about a work, in the plan's units."""
    lines = [*_heading(found)]
    for part, title in WORK_PARTS:
        body = [line for row in found.reasons(part) for line in _row(found, part, row)]
        if body:
            lines += ["", title, "-" * len(title), *body]
    body = [*_sources(found)]
    lines += ["", "Sources", "-------", *body]
    return "\n".join(lines) + "\n"


def _heading(found: WorkExplanation) -> Iterator[str]:
    work = found.work
    kind = dict(WORK_KINDS).get(str(work["kind"]), str(work["kind"]))
    yield from wrapped(
        f"Work {work['work_id']}, rank {work['rank']} of {found.count}: {kind[0].lower()}{kind[1:]}"
    )
    yield from wrapped(
        f"It saves {amount('works', 'saved_m3', work['saved_m3'], found.units)} within "
        f"{work['horizon_yr']:.0f} years, soil and floor counted together, for "
        f"{_cost(work)}, in the money of the cost file."
    )
    for site in found.sites:
        yield from wrapped(
            f"{site['build_order']}. Site {site['site_id']}: {site['structure']}. For all about it "
            f"ask for site {site['site_id']}.",
            indent=2,
            hang=5,
        )
    if work["chosen_why"]:
        chosen = "in" if work["chosen"] else "not in"
        yield from wrapped(f"It is {chosen} the chosen set: {work['chosen_why']}")


def _cost(work: Record) -> str:
    if width_unseen(work):
        return f"{cost_words(work)} (nobody saw how wide the channel is)"
    return f"{money(work['cost_likely'])} ({money(work['cost_low'])} to {money(work['cost_high'])})"


def _row(found: WorkExplanation, part: str, row: Record) -> Iterator[str]:
    """One step, with its value where it is a factor, and where it comes from."""
    where = f" at site {row['site_id']}" if row["site_id"] else ""
    text = f"{row['subject']}{where}: {row['text']}{cited(found.sources, row)}"
    if part not in _CHANCES or not known(row["value"]):
        yield from wrapped(text, indent=2, hang=4)
        return
    lines = wrapped(text, indent=_INDENT)
    yield f"  {row['value']:<{_INDENT - 2}.3f}{lines[0].strip()}"
    yield from lines[1:]


def _sources(found: WorkExplanation) -> Iterator[str]:
    yield from numbered_sources(found.sources)
    yield from wrapped(f"From {found.plan}.", indent=2)


def work_json(found: WorkExplanation) -> str:
    """Write the whole reasoning about a work as JSON, with the field names of the plan."""
    document = {
        "plan": found.plan,
        "units": found.units,
        "work": records_in("works", [found.work], found.units)[0],
        "sites": records_in("sites", found.sites, found.units),
        "work_reasons": records_in("work_reasons", found.rows, found.units),
        "sources": [{"source": source, "basis": basis or None} for source, basis in found.sources],
    }
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
