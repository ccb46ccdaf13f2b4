"""The sheet of one site in plain words: blocks of text, lists and tables that the page lays out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from cli.page.page_drawings import part_sizes
from cli.plan.explanation import Explanation, Record, basis_words, known
from cli.plan.fields import CONTROLS
from cli.plan.fields_ground import DECISIONS, SOILS
from cli.plan.fields_structures import SETTINGS, STAGES
from cli.plan.plan_numbers import (
    amount,
    distance_from,
    in_row,
    money,
    number_and_unit,
    span,
)
from cli.plan.range_words import range_sentences
from cli.plan.ranked_list import significant

Block = dict[str, Any]
#: Titles of the parts of the reasoning, in the order they are told.
REASONING = (
    ("measured", "What was measured here"),
    ("limits", "Limits held against the place"),
    ("alternatives", "What else could stand here"),
    ("sizes", "How the sizes came about"),
    ("spacing", "How far apart"),
    ("pair", "Works together with"),
    ("benefit", "What is gained"),
    ("flood", "The flood it is made for"),
    ("bed", "What the flow carries off first"),
    ("rank", "Why this rank"),
)
_MARKS = {
    "holds": "kept",
    "fails": "passed",
    "gives way": "gives way",
    "chosen": "chosen",
    "not chosen": "not chosen",
}
_LABOUR = {"haul": "hauling", "labour": "labor", "total": "together"}
_SENTENCES = re.compile(r"(?<=[.])\s+(?=[A-Z])")


def purpose_of(control: object) -> str:
    """What a structure is for, in one sentence."""
    return dict(CONTROLS).get(str(control), "Purpose not known")


def sentences(text: object) -> list[str]:
    """Sentences of a caution, one each."""
    return [part for part in _SENTENCES.split(str(text or "").strip()) if part]


def blocks(found: Explanation, notes: Sequence[Record]) -> list[Block]:
    """Everything on the sheet below the drawings.

    Parameters
    ----------
    found
        What the plan knows about the site.
    notes
        What was written into its field sheet, where anything was.
    """
    made: list[Block | None] = [
        _seen(found, notes),
        _look_first(found),
        _build(found),
        _sizes(found),
        _materials(found),
        _costs(found),
        _failures(found),
        _flood(found),
        *(_reasoning(found, part, title) for part, title in REASONING),
        _sources(found),
    ]
    return [block for block in made if block is not None and block["rows"]]


def mates(found: Explanation) -> list[dict[str, Any]]:
    """Other sites of the group, with words for a button that leads there."""
    out = []
    for mate in found.mates:
        far = distance_from(found, mate)
        name = found.looks.of(mate["structure"]).label
        order = f", build number {mate['build_order']}" if mate["build_order"] else ""
        out.append({"site": mate["site_id"], "text": f"{name}, {far}{order}"})
    return out


def _build(found: Explanation) -> Block:
    rows = list(found.instructions("build"))
    return {"title": "Build it in this order", "kind": "steps", "rows": rows}


def _look_first(found: Explanation) -> Block:
    rows = list(found.instructions("check"))
    return {"title": "Check on site before you start", "kind": "list", "rows": rows}


def _sizes(found: Explanation) -> Block:
    rows, last = [], ""
    for name, value, note in part_sizes(found):
        rows.append([name, value, note if note != last else ""])
        last = note
    return {"title": "Sizes", "kind": "sizes", "head": ["What", "Size"], "rows": rows}


def _materials(found: Explanation) -> Block:
    return material_block(found.rows["materials"], found, "What it takes")


def material_block(rows: Sequence[Record], found: Explanation, title: str) -> Block:
    """Table of materials, of a site or of all together."""
    out = []
    for row in rows:
        amounts = [in_row(row, n, found.units) for n in ("amount", "amount_with_spare")]
        loads = significant(row["loads"]) if known(row["loads"]) else ""
        loads = "under 0.1" if loads == "0" else loads
        out.append([str(row["meaning"] or row["item"]), *amounts, loads])
    head = ["Material", "Built in", "To bring", "Truck loads"]
    return {"title": title, "kind": "table", "head": head, "rows": out}


def _costs(found: Explanation) -> Block:
    return cost_block(found.rows["costs"], found.rows["materials"], found, "What it costs")


def cost_block(
    rows: Sequence[Record], materials: Sequence[Record], found: Explanation, title: str
) -> Block:
    """Table of costs with its range, of a site or of all together."""
    names = _LABOUR | {str(r["item"]): str(r["meaning"] or r["item"]) for r in materials}
    out = []
    for row in rows:
        item = str(row["item"])
        much = number_and_unit(row["quantity"], row["unit"], found.units)
        out.append(
            [
                names.get(item, item.replace("_", " ")),
                "" if much == "-" else much,
                money(row["likely"]),
                f"{money(row['low'])} to {money(row['high'])}",
            ]
        )
    name = found.run.get("currency", "")
    head = ["What is paid for", "How much", f"Likely, {name}".rstrip(", "), "Range"]
    return {"title": title, "kind": "table", "head": head, "rows": out}


def _failures(found: Explanation) -> Block:
    rows = found.rows["instructions"]
    looks = {r["step"]: str(r["text"]) for r in rows if r["kind"] == "inspect"}
    out = []
    for row in rows:
        if row["kind"] == "fails":
            look = looks.pop(row["step"], "")
            out.append([str(row["text"]), f"Look for: {look}" if look else ""])
    out += [["Inspect", look] for look in looks.values()]
    return {"title": "How it can fail, and what to look for", "kind": "pairs", "rows": out}


def _flood(found: Explanation) -> Block | None:
    rows, design = [], found.site["design_return_period_yr"]
    names = ("discharge_m3s", "depth_m", "top_width_m", "velocity_mps")
    for row in found.rows["hydraulics"]:
        years = row["return_period_yr"]
        cells = [amount("hydraulics", name, row[name], found.units) for name in names]
        chance = f"1 in {years}" + (", used for the sizes" if years == design else "")
        more = "yes" if row["overtops"] else ""
        rows.append([chance, *cells, more])
    if not rows:
        return None
    head = ["Chance in a year", "Flow", "Depth", "Width", "Speed", "Leaves the channel"]
    if not any(row[-1] for row in rows):
        head, rows = head[:-1], [row[:-1] for row in rows]
    notes = [*range_sentences(found)]
    notes.append("Depth and speed for even flow in the measured channel (Manning's equation).")
    return {"title": "Floods here", "kind": "table", "head": head, "rows": rows, "notes": notes}


def _reasoning(found: Explanation, part: str, title: str) -> Block:
    if part == "spacing":
        rows = list(_spacings(found))
    else:
        rows = [_reason(found, row) for row in found.reasons(part)]
    return {"title": title, "kind": "checks", "fold": True, "rows": rows}


def _reason(found: Explanation, row: Record) -> list[Any]:
    """Mark, subject, words, kind of source, and number of the source."""
    subject, text = str(row["subject"] or ""), str(row["text"] or "")
    # Names of limits are for files of settings, and what is told at every row is told once.
    if "." in subject or "_" in subject or subject == "how the sizes came about":
        subject = ""
    if row["part"] == "limits":
        text = text.removeprefix("Asked: ")
        text = text[:1].upper() + text[1:]
    if subject == "setting" and (meaning := dict(SETTINGS).get(str(found.site["setting"]))):
        text = f"{text} {meaning}."
    if subject == "stage of incision" and (meaning := dict(STAGES).get(str(found.site["stage"]))):
        text = f"{text} {meaning}."
    return [_MARKS.get(str(row["verdict"] or ""), ""), subject, text, *_cited(found, row)]


def _cited(found: Explanation, row: Record) -> list[Any]:
    number = 0
    if row["source"]:
        number = [source for source, _ in found.sources].index(str(row["source"])) + 1
    return [basis_words(row["basis"]), number]


def _spacings(found: Explanation) -> Iterator[list[Any]]:
    for row in found.rows["spacings"]:
        length = span(row["spacing_low_m"], row["spacing_high_m"], found.units)
        mark = "chosen" if row["chosen"] else ""
        note = f" {row['note'].rstrip('.')}." if row["note"] else ""
        yield [mark, str(row["rule"]), f"{length} to the next.{note}", *_cited(found, row)]
    told = {row["rule"] for row in found.rows["spacings"]}
    for row in found.reasons("spacing"):
        if row["subject"] not in told:
            yield _reason(found, row)


def _sources(found: Explanation) -> Block:
    rows = [source + (f" ({basis})" if basis else "") for source, basis in found.sources]
    return {"title": "Sources", "kind": "steps", "fold": True, "rows": rows}


def _seen(found: Explanation, notes: Sequence[Record]) -> Block | None:
    """What a person wrote on the field sheet; nothing where it is still blank."""
    rows = []
    for note in notes:
        for name, words in (
            ("measured_width_m", "Width between the bank tops"),
            ("measured_depth_m", "Depth below the lower bank"),
            ("measured_bankfull_depth_m", "Depth of the flow that fills the inner bench"),
            ("measured_drop_m", "Height of the drop"),
        ):
            if known(note[name]):
                rows.append([words, amount("field_notes", name, note[name], found.units)])
        if known(note["measured_slope"]):
            rows.append(["Slope of the bed", f"{significant(100 * note['measured_slope'])} %"])
        for name, words, codes in (
            ("decision", "Decision", dict(DECISIONS)),
            ("soil", "Soil", dict(SOILS)),
            ("notes", "Notes", {}),
            ("photos", "Photographs", {}),
            ("measured_by", "Measured by", {}),
            ("measured_on", "Measured on", {}),
        ):
            if note[name]:
                rows.append([words, codes.get(str(note[name]), str(note[name]))])
    return {"title": "Seen on site", "kind": "pairs", "rows": rows} if rows else None
