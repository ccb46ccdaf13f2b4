"""Parts of a site sheet: sizes, materials, flood, cautions, steps, and what is measured."""

from __future__ import annotations

import re

from cli.packet.printable import printable, sentences, within
from cli.plan.explanation import Explanation, known
from cli.plan.plan_numbers import amount, days_words, in_row, money
from cli.plan.range_words import range_sentences
from cli.plan.ranked_list import significant
from siting.values.wording import first_upper

#: Longest lists of a sheet; a plan from this program never comes near them.
_MOST_STEPS, _MOST_SIZES, _MOST_MATERIALS, _MOST_FAILURES, _MOST_CAUTIONS = 16, 16, 10, 5, 16
_MOST_CHECKS = 6
#: Characters that steps, failures and cautions may have together; half as much again as in use.
_STEP_LENGTH, _FAILURE_LENGTH, _CAUTION_LENGTH = 2200, 1000, 2200
_BED_LENGTH = 600
#: Where a sentence begins that is told for one end of a width only.
_AT_WIDTH = re.compile(r"If it is [\d.]+ \w+ wide: ")


def number(found: Explanation, name: str, digits: int | None = None) -> str:
    """Write a number of the site with its unit; nothing where it is not known."""
    value = float(found.site[name])
    return amount("sites", name, value, found.units, digits=digits) if known(value) else ""


def percent(share: float) -> str:
    """Write a slope in per cent."""
    return f"{significant(100 * share)} %" if known(share) else "an unknown slope"


def sizes(found: Explanation) -> list[list[str]]:
    """Names of sizes and how large they are."""
    out = []
    for row in found.rows["sizes"][:_MOST_SIZES]:
        value, unit, name = float(row["value"]), row["unit"], str(row["name"] or "size")
        amount_words = printable(in_row(row, "value", found.units), 30)
        if not known(value) and amount_words != "-":
            words = str(row["meaning"] or first_upper(name))
            out.append([printable(words, 36), amount_words])
            continue
        if not known(value) or (value <= 0 and name != "height"):  # no ballast is not a size
            continue
        words = str(row["meaning"] or first_upper(name))
        if unit in ("m/m", "share"):
            amount_words = f"{significant(100 * value)} %"
        elif value <= 0:
            amount_words = "flush"
        out.append([printable(words, 36), amount_words])
    return out


def measure_first(found: Explanation) -> bool:
    """Whether nobody saw the width, so that sizes are ranges."""
    return known(found.site["width_low_m"])


def materials(found: Explanation) -> list[list[str]]:
    """What it takes: what, built in, to bring, and for what."""
    out = []
    for row in found.rows["materials"][:_MOST_MATERIALS]:
        net, gross = (in_row(row, n, found.units) for n in ("amount", "amount_with_spare"))
        what = first_upper(printable(row["meaning"] or row["item"], 44))
        out.append([what, net, gross, printable(row["note"], 110)])
    return out


def work(found: Explanation) -> str:
    """Days of work and cost, in one line."""
    site, currency = found.site, found.run.get("currency", "")
    parts = []
    if known(site["crew_days"]):
        people = found.run.get("setting: crew_size")
        crew = f"a crew of {people}" if people else "a crew"
        parts.append(f"{days_words(site)} days of {crew}")
    if known(site["cost_likely"]):
        ends = f"{money(site['cost_low'])} to {money(site['cost_high'])}"
        likely = f"{money(site['cost_likely'])} {currency}".rstrip() + f" likely, {ends}"
        unseen = known(site["width_low_m"])
        parts.append(f"{ends} {currency}, measure first" if unseen else likely)
    return printable("; ".join(parts), 160)


def flood(found: Explanation) -> list[str]:
    """The design flood, in sentences."""
    site = found.site
    years = site["design_return_period_yr"]
    flow = number(found, "design_flow_m3s")
    if not flow:
        if found.on_road:
            return ["It leads off what runs along the road; no flood is worked out for it."]
        if not site["area_complete"]:
            return [_minimum(found)]
        return [
            "The plan holds no flood here: it lacks rain and curve numbers.",
            "Sizes of stone were not checked against a flow.",
        ]
    out = [f"The flood with a chance of 1 in {years:.0f} in any year: {flow}."]
    out += [printable(sentence, 320) for sentence in range_sentences(found)]
    row = next((r for r in found.rows["hydraulics"] if r["return_period_yr"] == years), None)
    if row is not None:
        deep, wide, fast = (
            amount("hydraulics", n, float(row[n]), found.units)
            for n in ("depth_m", "top_width_m", "velocity_mps")
        )
        out.append(f"In the channel as it is now it runs {deep} deep, {wide} wide and {fast} fast.")
        if row["overtops"]:
            out.append("It leaves the channel over the lower bank.")
    out += bed_and_bank(found)
    return out


def _minimum(found: Explanation) -> str:
    """What is said of a flood of which the raster shows only a part."""
    least = number(found, f"q{found.site['design_return_period_yr']:.0f}_m3s")
    gives = f": the part that it shows gives at least {least}" if least else ""
    return f"The raster cuts off part of the land that drains here{gives}. The flood is larger."


def bed_and_bank(found: Explanation) -> list[str]:
    """What the flood carries off first and whether the banks stand, but for what is a caution."""
    told = ("what gives way first", "banks")
    rows = [row for row in found.reasons("bed") if row["subject"] in told]
    said = set(sentences(found.site["caution"]))
    texts = [_at_the_narrowest(str(row["text"])) for row in rows]
    own = [s for text in texts for s in sentences(text) if s not in said]
    return within(own, _BED_LENGTH)


def _at_the_narrowest(text: str) -> str:
    """Of what is told for both ends of a width that nobody saw, the first: there water pulls most.

    The plan has both.
    """
    ends = [match.start() for match in _AT_WIDTH.finditer(text)]
    return text[: ends[1]].rstrip() if len(ends) > 1 else text


def to_settle(found: Explanation) -> list[str]:
    """What an engineer must settle: every limit that is passed, in words."""
    if found.site["control"] != "refer":
        return []
    failed = [row for row in found.reasons("limits") if row["verdict"] == "fails"]
    own = [s for row in failed for s in sentences(row["text"]) if not s.startswith("Asked:")]
    own = [s for s in own if not s.startswith("Found:")] or sentences(found.site["reason"])
    return list(dict.fromkeys(own))[:_MOST_CAUTIONS]


def cautions(found: Explanation) -> list[str]:
    """What to take care of, each a sentence."""
    own = sentences(found.site["caution"], most=320)
    site = found.site
    if site["control"] not in ("refer", "hold") and site["chosen_why"] and not site["chosen"]:
        own.insert(0, f"Left out of the chosen set: {printable(site['chosen_why'], 200)}".strip())
    more = len(own) - _MOST_CAUTIONS
    shown = within(own[:_MOST_CAUTIONS], _CAUTION_LENGTH)
    return [*shown, *([f"{more} more stand in the plan."] if more > 0 else [])]


def look_first(found: Explanation) -> list[str]:
    """What to look at on site before the work starts."""
    return [printable(text, 200) for text in found.instructions("check")[:_MOST_CHECKS]]


def build_steps(found: Explanation) -> list[str]:
    """Steps of the work, in their order."""
    texts = [printable(text) for text in found.instructions("build")]
    more = len(texts) - _MOST_STEPS
    shown = within(texts[:_MOST_STEPS], _STEP_LENGTH)
    return [*shown, *([f"{more} more steps stand in the plan."] if more > 0 else [])]


def failures(found: Explanation) -> list[list[str]]:
    """How it can fail, and what to look for."""
    rows = found.rows["instructions"]
    looks = {row["step"]: row["text"] for row in rows if row["kind"] == "inspect"}
    fails = [row for row in rows if row["kind"] == "fails"][:_MOST_FAILURES]
    texts = [(printable(r["text"], 200), printable(looks.get(r["step"], ""))) for r in fails]
    flat = within([text for both in texts for text in both], _FAILURE_LENGTH)
    return [flat[i : i + 2] for i in range(0, len(flat), 2)]


def planned(found: Explanation) -> list[list[str]]:
    """What is measured on site, beside what the plan has for it."""
    rows = [
        ("Width between bank tops", "bank_width_m"),
        ("Depth below lower bank", "bank_depth_m"),
        ("Depth to the flat bench (bankfull)", "bankfull_depth_m"),
        ("Height of the drop", "headcut_height_m"),
    ]
    out = [[words, number(found, name) or "not known"] for words, name in rows]
    if found.on_road:
        out = [["Width of the road", "not known"], ["Length of the grade above", "not known"]]
    elif not known(found.site["headcut_height_m"]):
        out[-1][1] = "none"
    return [
        *out,
        [
            "Slope of the road" if found.on_road else "Slope of the bed",
            percent(found.site["slope"]),
        ],
    ]
