"""Sizes that sentences, drawings and crests give, against the table of sizes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from siting.audit.figures_in_text import FIGURE, found
from siting.audit.plan_tables import Contradiction, PlanTables, Row, at, differ, known

TOLD, DRAWN = "size told", "drawn as built"
#: Fields of layers are rounded to this, m.
ROUNDED_M = 0.0051


@dataclass(frozen=True, slots=True)
class SizeTold:
    """A figure of a sentence, and the names of ``sizes`` that it may be; the first there counts."""

    pattern: re.Pattern[str]
    names: tuple[str, ...]


def _of(pattern: str, *names: str) -> SizeTold:
    return SizeTold(re.compile(pattern), names)


SIZES_TOLD = (
    _of(rf"[Kk]ey both ends {FIGURE} into", "key"),
    _of(rf"(?:with|reach) {FIGURE} into each bank", "key"),
    _of(rf"trenches {FIGURE} into both banks", "key"),
    _of(rf"^Height {FIGURE}[:,]", "height"),
    _of(rf"its top {FIGURE} above the bed", "height"),
    _of(rf"one stone high \({FIGURE}\)", "height"),
    _of(rf"^One stone high, {FIGURE},", "height"),
    _of(rf"^Stone D50 {FIGURE}", "median stone"),
    _of(rf"^Stone D50 [^,]*, D100 {FIGURE}", "largest stone"),
    _of(rf"D100 [^,(]* \({FIGURE}\)", "heaviest stone"),
    _of(rf"Found: the largest (?:[\d.]+ to )?{FIGURE}", "heaviest stone"),
    _of(rf"largest stones (?:here )?weigh (?:about |up to |[\d.]+ to )?{FIGURE}", "heaviest stone"),
    _of(rf"^Length along the channel {FIGURE}", "length"),
    _of(rf"and apron {FIGURE}", "apron"),
    _of(rf"Set {FIGURE} of apron", "apron"),
    _of(rf"Let the crest rise {FIGURE} to", "crest dip"),
    _of(rf"its ends rise {FIGURE} and", "crest dip"),
    _of(rf"stretch, {FIGURE} long with", "crest"),
    _of(rf"Spread {FIGURE} of stone", "ballast"),
    _of(rf"A green log weighs {FIGURE}", "log"),
    _of(rf"bowed {FIGURE} uphill", "bow"),
)


def sizes_told(plan: PlanTables) -> Iterator[Contradiction]:
    """Figures of instructions and of the reasoning about sizes."""
    sizes = plan.by_site("sizes")
    for site in plan.sites():
        own = {r["name"]: r for r in sizes.get(int(site["site_id"]), [])}
        named = [(t.pattern, next((n for n in t.names if n in own), None)) for t in SIZES_TOLD]
        asked = [(pattern, own[name]) for pattern, name in named if name is not None]
        if not asked:
            continue
        for text in plan.sentences(int(site["site_id"])):
            for pattern, size in asked:
                yield from _told(plan, site, size, pattern, text)


def _told(
    plan: PlanTables, site: Row, size: Row, pattern: re.Pattern[str], text: str
) -> Iterator[Contradiction]:
    for figure in found(pattern, text):
        plan.compared[TOLD] += 1
        single = size["value"]
        ends = [single] if known(single) else [size["value_low"], size["value_high"]]
        if not any(figure.says(float(v)) for v in ends if known(v)):
            yield Contradiction(
                TOLD,
                at(site),
                f"“{figure.text}” is told",
                f"the size {size['name']} is {' to '.join(map(str, ends))}",
            )


def drawn(plan: PlanTables) -> Iterator[Contradiction]:
    """Bodies stand no higher in their side view than they are built, and crests are as long."""
    heights: dict[int, list[Row]] = {
        number: [r for r in rows if r["view"] == "side" and r["is_body"]]
        for number, rows in plan.by_site("structure_outlines").items()
    }
    sizes, lines = plan.by_site("sizes"), plan.by_site("structure_lines")
    for site in plan.built():
        number = int(site["site_id"])
        for row in heights.get(number, []):
            plan.compared[DRAWN] += 1
            proud = row["level"] == "ground" or not known(site["headcut_height_m"])
            allowed = site["structure_height_m"] if proud else 0.0
            if known(allowed) and float(row["height_m"]) > float(allowed) + ROUNDED_M:
                yield Contradiction(
                    DRAWN, at(site), f"a corner is drawn at a height_m of {row['height_m']}",
                    f"structure_height_m allows {allowed}",
                )  # fmt: skip
                break
        crest = next((r for r in sizes.get(number, []) if r["name"] == "crest"), None)
        for row in lines.get(number, []):
            if crest is None or not known(crest["value"]) or not known(row["crest_length_m"]):
                continue
            plan.compared[DRAWN] += 1
            if differ(row["crest_length_m"], crest["value"], least=ROUNDED_M):
                yield Contradiction(
                    DRAWN, at(site), f"its crest has a crest_length_m of {row['crest_length_m']}",
                    f"the size crest is {crest['value']}",
                )  # fmt: skip
