"""The reasoning about one site as text of 100 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from cli.plan.explanation import Explanation, Record, basis_words, known
from cli.plan.fields import CONTROLS
from cli.plan.fields_structures import SETTINGS, STAGES
from cli.plan.plan_numbers import (
    days_words,
    distance_from,
    in_column,
    in_row,
    measure,
    money,
    number_and_unit,
    span,
    unit_of,
)
from cli.plan.range_words import range_sentences
from cli.plan.ranked_list import WIDTH, significant
from cli.plan.unit_sentences import in_units

_MARKS = {
    "holds": "holds",
    "fails": "FAILS",
    "gives way": "gives way",
    "chosen": "chosen",
    "not chosen": "not chosen",
}
#: Column of a finding's words, behind its verdict.
_INDENT = 14


def explanation_text(found: Explanation) -> str:
    """Tell the whole reasoning about a site, in the plan's units."""
    sections: tuple[tuple[str, Iterator[str]], ...] = (
        ("What was measured", _measured(found)),
        ("Limits, each at the unfavourable end of its error", _judged(found, "limits")),
        ("What could stand here", _judged(found, "alternatives")),
        ("Sizes", _sizes(found)),
        ("How far apart", _spacing(found)),
        ("The others on this road" if found.on_road else "The pair and its pool", _pair(found)),
        # no flow is worked out for the water of a road
        *(() if found.on_road else (("The flood it is made for", _flood(found)),)),
        ("What the flow carries off first", _judged(found, "bed")),
        ("What it takes", _materials(found)),
        ("What is gained", _gained(found)),
        ("Why it stands where it does in the list", _judged(found, "rank")),
        ("Build it in this order", _steps(found)),
        ("How it fails, and what to look for", _failures(found)),
        ("Before you build", _before(found)),
        ("Sources", _sources(found)),
    )
    lines = [*_heading(found)]
    for title, content in sections:
        body = list(content)
        if body:
            lines += ["", title, "-" * len(title), *body]
    return "\n".join(lines) + "\n"


def _heading(found: Explanation) -> Iterator[str]:
    site = found.site
    purpose = dict(CONTROLS).get(str(site["control"]), "")
    purpose = f" ({purpose[0].lower()}{purpose[1:]})" if purpose else ""
    yield from wrapped(
        f"Site {site['site_id']}{found.ranked}: {found.look.label or 'no name'}{purpose}"
    )
    station = measure(found, "station_m", digits=3)
    way = f"Channel {site['channel_id']} at {station} above its lower end"
    way, level = ("On a road", "road") if found.on_road else (way, "bed")
    yield from wrapped(
        f"{way}, longitude {site['lon']:.5f}, latitude {site['lat']:.5f}, {level} at "
        f"{measure(found, 'elevation_m', digits=5)}. Confidence {site['confidence']:.2f}."
    )
    yield from wrapped(f"Why here: {site['reason']}")
    if site["caution"]:
        yield from wrapped(f"Caution: {site['caution']}")
    if site["chosen_why"]:
        chosen = "in" if site["chosen"] else "not in"
        yield from wrapped(f"It is {chosen} the chosen set: {site['chosen_why']}")


def _measured(found: Explanation) -> Iterator[str]:
    site = found.site
    meaning = dict(SETTINGS).get(str(site["setting"]), "")
    told = {row["subject"] for row in found.reasons("measured")}
    if meaning and "setting" not in told:
        yield from wrapped(f"Reach: {site['setting']} ({_lower(meaning)}).", indent=2)
    if site["stage"] and "stage of incision" not in told:
        sure = site["stage_confidence"]
        words = _lower(dict(STAGES).get(str(site["stage"]), ""))
        more = f" (confidence {sure:.2f})" if known(sure) else ""
        yield from wrapped(f"Stage {site['stage']} of 5, {words}{more}.", indent=2)
    for row in found.reasons("measured"):
        if row["subject"] == "setting" and meaning:
            row = {**row, "text": f"{row['text']} {meaning}."}
        yield from _finding(found, row)


def _finding(found: Explanation, row: Record) -> Iterator[str]:
    """One finding with its subject, where it comes from and what kind of source that is."""
    subject = f"{row['subject']}: " if row["subject"] else ""
    verdict = _MARKS.get(str(row["verdict"] or ""), "")
    text = f"{subject}{row['text']}{cited(found.sources, row)}"
    if not verdict:
        yield from wrapped(text, indent=2)
        return
    lines = wrapped(text, indent=_INDENT)
    yield f"  {verdict:<{_INDENT - 2}}{lines[0].strip()}"
    yield from lines[1:]


def cited(sources: Sequence[tuple[str, str]], row: Record) -> str:
    """Number of the source and kind of it, as they stand behind a sentence."""
    basis = basis_words(row["basis"])
    parts = [f"({basis})"] if basis else []
    if row["source"]:
        order = [source for source, _ in sources]
        parts.append(f"[{order.index(str(row['source'])) + 1}]")
    return f" {' '.join(parts)}" if parts else ""


def _judged(found: Explanation, part: str) -> Iterator[str]:
    for row in found.reasons(part):
        yield from _finding(found, row)


def _sizes(found: Explanation) -> Iterator[str]:
    last = None
    for row in found.rows["sizes"]:
        value = in_row(row, "value", found.units)
        note = f"  {row['note']}" if row["note"] and row["note"] != last else ""
        last = row["note"]
        yield from wrapped(f"{row['name']:<24} {value:>16}{note}", indent=2, hang=45)
    for row in found.reasons("sizes"):
        yield from wrapped(f"- {row['text']}{cited(found.sources, row)}", indent=2, hang=4)


def _spacing(found: Explanation) -> Iterator[str]:
    rows = found.rows["spacings"]
    ends = [row[n] for row in rows for n in ("spacing_low_m", "spacing_high_m") if known(row[n])]
    if ends:
        rules = "The rule that applies gives" if len(rows) == 1 else (
            f"The {len(rows)} rules that apply give"
        )  # fmt: skip
        chosen = next((row for row in rows if row["chosen"]), None)
        kept = "; the plan keeps to none of them."
        if chosen is not None:
            kept = f"; the plan keeps to {chosen['rule']}."
        along = "from the one above, along the road" if found.on_road else (
            "to the next structure, along the bed"
        )  # fmt: skip
        yield from wrapped(
            f"{rules} {span(min(ends), max(ends), found.units)} {along}{kept}", indent=2
        )
    for row in rows:
        mark = "*" if row["chosen"] else " "
        length = span(row["spacing_low_m"], row["spacing_high_m"], found.units)
        note = f"{row['note'].rstrip('.')}." if row["note"] else ""
        text = f"{mark} {row['rule']:<38} {length:>17}  {note}{cited(found.sources, row)}"
        yield from wrapped(text, indent=2, hang=62)
    if known(found.site["spacing_m"]) and not found.on_road:
        yield from wrapped(
            f"Distance to the next one here: {measure(found, 'spacing_m')}.", indent=2
        )
    told = {row["rule"] for row in rows}
    for row in found.reasons("spacing"):
        if row["subject"] not in told:
            yield from _finding(found, row)


def _pair(found: Explanation) -> Iterator[str]:
    for mate in found.mates:
        order = f", to be built as number {mate['build_order']}" if mate["build_order"] else ""
        away = "" if found.on_road else f", {distance_from(found, mate)}"
        yield from wrapped(
            f"Works with site {mate['site_id']}: {mate['structure']}{away}{order}.",
            indent=2,
        )
    rows = [row for row in found.reasons("pair") if not (found.mates and row["subject"] == "group")]
    for row in rows:
        yield from _finding(found, row)
    # What the reasoning says of the site's own pool is not said twice.
    for site in found.mates if rows else (found.site, *found.mates):
        facts = [
            words.format(measure(found, name, site=site))
            for name, words in (
                ("structure_height_m", "crest {} above the bed"),
                ("pool_area_m2", "still pool of {}"),
                ("pool_volume_m3", "holding {}"),
                ("toe_depth_m", "{} deep at the foot of the drop, a lower bound"),
                ("tailwater_toe_m", "{} there at the design flood"),
                ("wedge_length_m", "sediment filling in over {}"),
                ("wedge_volume_m3", "{} of it"),
            )
            if known(site[name])
        ]
        if facts and known(site["wedge_length_m"]):
            yield from wrapped(f"Pool of site {site['site_id']}: {', '.join(facts)}.", indent=2)


def _flood(found: Explanation) -> Iterator[str]:
    yield from _judged(found, "flood")
    for sentence in range_sentences(found):
        yield from wrapped(sentence, indent=2)
    rows = found.rows["hydraulics"]
    if not rows:
        text = "The plan holds no flow for this site: it lacks rain and curve numbers, or a region."
        if known(found.site["design_flow_m3s"]) or known(found.site["q10_m3s"]):
            text = "The plan holds no depth and velocity for this site."
        yield from wrapped(text, indent=2)
        return
    names = ("discharge_m3s", "depth_m", "top_width_m", "velocity_mps", "shear_pa", "froude")
    words = ("flow", "depth", "width", "velocity", "pull on bed", "Froude")
    heads = [
        ", ".join(part for part in (word, unit_of("hydraulics", name, found.units)) if part)
        for word, name in zip(words, names, strict=True)
    ]
    widths = [max(len(head) + 2, 9) for head in heads]
    yield f"  {'years':>6}" + "".join(f"{h:>{w}}" for h, w in zip(heads, widths, strict=True))
    for row in rows:
        cells = [
            in_column("hydraulics", n, row[n], found.units).rjust(w)
            for n, w in zip(names, widths, strict=True)
        ]
        design = row["return_period_yr"] == found.site["design_return_period_yr"]
        years = f"{'*' if design else ''}{row['return_period_yr']}"
        end = "  leaves it" if row["overtops"] else ""
        yield f"  {years:>6}" + "".join(cells) + end
    note = "Uniform flow by Manning in the measured section."
    if any(row["return_period_yr"] == found.site["design_return_period_yr"] for row in rows):
        note += " * the design flood."
    if any(row["overtops"] for row in rows):
        note += " 'Leaves it': the water runs over the lower end of the section."
    yield from wrapped(note, indent=2)


def _materials(found: Explanation) -> Iterator[str]:
    rows = found.rows["materials"]
    if rows:
        yield f"  {'':<36}{'built in':>22}{'with spare':>22}{'loads':>8}"
    for row in rows:
        cells = [in_row(row, n, found.units) for n in ("amount", "amount_with_spare")]
        loads = significant(row["loads"]) if known(row["loads"]) else ""
        loads = "<0.1" if loads == "0" else loads
        if loads and known(row["amount_low"]) and not known(row["amount"]):
            loads = f"to {loads}"  # at the widest that nobody saw
        first, *more = textwrap.wrap(str(row["meaning"] or row["item"]), 35) or [""]
        yield f"  {first:<36}{cells[0]:>22}{cells[1]:>22}{loads:>8}".rstrip()
        yield from (f"  {line}" for line in more)
        if row["note"]:
            yield from wrapped(str(row["note"]), indent=6)
    names = {row["item"]: str(row["meaning"] or row["item"]) for row in rows}
    for row in found.rows["costs"]:
        if row["item"] == "total":
            continue  # told below
        quantity = "measure first"
        if known(row["quantity"]):
            quantity = number_and_unit(row["quantity"], row["unit"], found.units)
        ends = f"{money(row['low'])} to {money(row['high'])}"
        cost = f"{money(row['likely'])} ({ends})" if known(row["quantity"]) else ends
        item = names.get(row["item"], row["item"])
        yield from wrapped(f"{item}: {quantity}, cost {cost}", indent=2)
    site = found.site
    if known(site["cost_likely"]):
        # one number would rest on a width that nobody saw
        likely = "" if known(site["width_low_m"]) else f"{money(site['cost_likely'])}, "
        text = (
            f"Cost together {likely}between {money(site['cost_low'])} and "
            f"{money(site['cost_high'])}, in the money of the cost file"
        )
        yield from wrapped(f"{text}.", indent=2)
    if known(site["crew_days"]):
        people = found.run.get("setting: crew_size")
        crew = f"a crew of {people}" if people else "a crew"
        yield from wrapped(f"Work: {days_words(site)} days of {crew}.", indent=2)


def _gained(found: Explanation) -> Iterator[str]:
    rows = found.reasons("benefit")
    yield from _judged(found, "benefit")
    if rows:
        return
    facts = [
        f"{words} {measure(found, name)}"
        for name, words in (
            ("swale_at_risk_m", "uncut swale above"),
            ("swale_at_risk_ha", "which is"),
            ("soil_at_risk_m3", "soil at risk"),
            ("retreat_m_per_yr", "retreat, order of magnitude,"),
            ("rewetted_m2", "ground rewetted"),
            ("wedge_volume_m3", "sediment held"),
        )
        if known(found.site[name])
    ]
    if facts:
        yield from wrapped(f"{', '.join(facts)}.".capitalize(), indent=2)


def _steps(found: Explanation) -> Iterator[str]:
    rows = [row for row in found.rows["instructions"] if row["kind"] == "build"]
    yield from _numbered([str(row["text"]) for row in rows])


def _failures(found: Explanation) -> Iterator[str]:
    rows = found.rows["instructions"]
    looks = {row["step"]: str(row["text"]) for row in rows if row["kind"] == "inspect"}
    for row in rows:
        if row["kind"] != "fails":
            continue
        look = looks.pop(row["step"], "")
        yield from wrapped(
            f"{row['text']}" + (f" Look for: {look}" if look else ""), indent=2, hang=4
        )
    for look in looks.values():
        yield from wrapped(f"Inspect: {look}", indent=2, hang=4)


def _before(found: Explanation) -> Iterator[str]:
    yield from _numbered([f"{row['subject']}: {row['text']}" for row in found.before])


def numbered_sources(sources: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Sources with their numbers and kinds, a line or more each."""
    for number, (source, basis) in enumerate(sources, start=1):
        text = f"[{number}] {source}" + (f" ({basis})" if basis else "")
        yield from wrapped(text, indent=2, hang=6)


def _sources(found: Explanation) -> Iterator[str]:
    yield from numbered_sources(found.sources)
    # The record of the run is kept in SI.
    summary = in_units(found.run.get("summary", ""), found.units)
    of_plan = f"From {found.plan}" + (f": {summary}" if summary else ".")
    yield from wrapped(of_plan, indent=2, hang=6)


def _numbered(texts: Sequence[str]) -> Iterator[str]:
    for number, text in enumerate(texts, start=1):
        yield from wrapped(f"{number}. {text}", indent=2, hang=5 if number < 10 else 6)


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def wrapped(text: str, *, indent: int = 0, hang: int | None = None) -> list[str]:
    """Lines of at most 100 columns; spaces that align columns are kept."""
    lines = textwrap.wrap(
        text,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent if hang is None else hang),
        break_on_hyphens=False,
        drop_whitespace=True,
    )
    return lines or [""]
