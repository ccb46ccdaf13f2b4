"""Every structure does what it costs money for: purpose, height, limits, pairs, referrals."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator

from siting.audit.figures_in_text import FIGURE, figure
from siting.audit.plan_tables import NOT_BUILT, Contradiction, PlanTables, Row, at, known, left_out
from siting.values.wording import centimetres, metres

#: Heights are rounded to this, m.
ROUNDED_M = 0.006
#: Controls, and the purposes of the places where each may stand.
STANDS_AT = {"vertical": ("vertical",), "grade": ("grade",), "spread": ("spread", "road")}

_ASKED = re.compile(
    rf"Asked: .*?(at most|no deeper than|no more than|at least) {FIGURE}.*?"
    rf"Found: [^\d]*(?:[\d.]+ to )?{FIGURE}"
)


def purposes(plan: PlanTables) -> Iterator[Contradiction]:
    """What is built has a purpose, a size, steps, and a price; what is not built has none."""
    steps = plan.by_site("instructions")
    sizes = plan.by_site("sizes")
    for site in plan.sites():
        if site["control"] in NOT_BUILT or left_out(site):
            yield from _nothing_there(plan, site, sizes)
            continue
        plan.compared["something is built"] += 1
        number = int(site["site_id"])
        lacks = [
            what
            for what, there in (
                ("no price", known(site["cost_likely"]) and float(site["cost_likely"]) > 0),
                ("no steps", bool(steps.get(number))),
                ("no size", bool(sizes.get(number))),
                ("no structure", known(site["structure"]) and site["structure"] != "engineer"),
                ("no reason", known(site["reason"])),
                ("no work", int(site["work_id"]) > 0 or not plan.rows("works")),
                (
                    f"its place is one for {site['purpose']}",
                    site["purpose"] in STANDS_AT.get(site["control"], (site["purpose"],)),
                ),
                ("no drop", site["control"] != "vertical" or known(site["headcut_height_m"])),
            )
            if not there
        ]
        if lacks:
            yield Contradiction(
                "something is built", at(site), f"a {site['structure']} is to be built", lacks[0]
            )


def _nothing_there(
    plan: PlanTables, site: Row, sizes: dict[int, list[Row]]
) -> Iterator[Contradiction]:
    plan.compared["nothing is built"] += 1
    number = int(site["site_id"])
    steps = plan.by_site("instructions").get(number, [])
    for what, there in (
        ("it has a price", known(site["cost_likely"]) and float(site["cost_likely"]) > 0),
        ("it has a height", known(site["structure_height_m"])),
        ("it has sizes", bool(sizes.get(number))),
        ("it has steps of building", any(r["kind"] == "build" for r in steps)),
        ("it has a footprint", bool(plan.by_site("structures").get(number))),
        ("it has a crest", bool(plan.by_site("structure_lines").get(number))),
        ("it belongs to a work", int(site.get("work_id") or 0) > 0),
        ("a budget buys it", bool(site["chosen"]) and known(site["cost_likely"])),
    ):
        if there:
            yield Contradiction(
                "nothing is built",
                at(site),
                "it is left out" if left_out(site) else f"its control is {site['control']}",
                what,
            )


def heights(
    plan: PlanTables, *, least_m: float, share: float, most_m: float
) -> Iterator[Contradiction]:
    """A grade control stands proud, and no higher than its rule allows.

    Parameters
    ----------
    least_m, share, most_m
        The smallest height, the share of bankfull that rules what is higher, and its cap.
    """
    ruled = {
        int(r["site_id"]) for r in plan.rows("reasons") if r["subject"] == "grade_control.height"
    }
    for site in plan.built():
        if site["control"] != "grade":
            continue
        height = site["structure_height_m"]
        plan.compared["height of a grade control"] += 1
        if not known(height) or float(height) <= 0:
            yield Contradiction(
                "height of a grade control",
                at(site),
                "a grade control stands here",
                "it has no height",
            )
            continue
        if int(site["site_id"]) not in ruled or float(height) <= least_m + ROUNDED_M:
            continue
        names = ("measured_bankfull_depth_m", "bankfull_low_m", "bankfull_depth_m")
        low = next((site[n] for n in names if known(site.get(n))), None)
        allowed = least_m if low is None else min(share * float(low), most_m)
        if float(height) > max(allowed, least_m) + ROUNDED_M:
            yield Contradiction(
                "height of a grade control",
                at(site),
                f"it is {metres(float(height))} high",
                f"its rule allows {metres(max(allowed, least_m))}",
            )


def limits(plan: PlanTables) -> Iterator[Contradiction]:
    """No limit failed under a thing that is built."""
    built = {int(s["site_id"]): s for s in plan.built()}
    for row in plan.rows("reasons"):
        site = built.get(int(row["site_id"]))
        if row["part"] != "limits" or site is None or not known(row["verdict"]):
            continue
        plan.compared["limits hold"] += 1
        if row["verdict"] == "fails":
            yield Contradiction(
                "limits hold",
                at(site),
                f"a {site['structure']} is to be built",
                f"the limit {row['subject']} fails: {row['text']}",
            )


def high_end(plan: PlanTables) -> Iterator[Contradiction]:
    """What fails at the high end of the flow is named, is a caution, and lowers the chance held."""
    fails: dict[int, set[str]] = defaultdict(set)
    for row in plan.rows("reasons"):
        if row["part"] == "flood" and row["verdict"] == "fails":
            fails[int(row["site_id"])].add(str(row["subject"]))
    lowered = {
        int(r["work_id"]) for r in plan.rows("work_reasons")
        if r["subject"] == "flow it is checked against" and float(r["value"]) < 1
    }  # fmt: skip
    for site in plan.built():
        own = fails.get(int(site["site_id"]), set())
        named = str(site["fails_at_high_flow"] or "")
        plan.compared["high end"] += 1
        says = f"{', '.join(sorted(own)) or 'nothing'} fails at the high end"
        for what, there in (
            (f"the field names {named or 'nothing'}", own != set(re.findall(r"[\w.]+", named))),
            ("no caution says so", bool(own) and "high end" not in str(site["caution"] or "")),
            (
                "the chance held of its work is not lowered",
                bool(own) and bool(lowered) and int(site["work_id"]) not in lowered,
            ),
        ):
            if there:
                yield Contradiction("high end", at(site), says, what)


def alternatives(plan: PlanTables) -> Iterator[Contradiction]:
    """The type that was chosen is the one that is built."""
    rows = plan.by_site("reasons")
    for site in plan.built():
        chosen = [
            str(r["subject"])
            for r in rows.get(int(site["site_id"]), [])
            if r["part"] == "alternatives" and r["verdict"] == "chosen"
        ]
        plan.compared["type chosen"] += 1
        if chosen != [site["structure"]]:
            yield Contradiction(
                "type chosen", at(site), f"a {site['structure']} is to be built",
                f"{' and '.join(chosen) or 'nothing'} was chosen",
            )  # fmt: skip


def found_within(plan: PlanTables) -> Iterator[Contradiction]:
    """What was found keeps to what was asked where a limit is said to hold."""
    for row in plan.rows("reasons"):
        if row["verdict"] != "holds" or not known(row["text"]):
            continue
        match = _ASKED.search(row["text"])
        if match is None or " or the first" in row["text"]:
            continue
        bound, is_most = figure(match[2], match[3]), match[1] != "at least"
        value = figure(match[4], match[5])
        plan.compared["found within what was asked"] += 1
        over = value.value - bound.value if is_most else bound.value - value.value
        if over > bound.open_by + value.open_by + 1e-9:
            yield Contradiction(
                "found within what was asked", f"site {int(row['site_id'])}",
                f"{row['subject']} holds, {match[1]} {bound.text} asked", f"found {value.text}",
            )  # fmt: skip


def pairs(plan: PlanTables) -> Iterator[Contradiction]:
    """In a pair the controls lie below the drop and are built before it."""
    groups: dict[int, list[Row]] = defaultdict(list)
    for site in plan.built():
        if known(site["pair_id"]) and int(site["pair_id"]) > 0:
            groups[int(site["pair_id"])].append(site)
    for number, own in groups.items():
        heads = [s for s in own if s["control"] == "vertical"]
        about = f"pair {number}"
        orders = [int(s["build_order"]) for s in own if known(s["build_order"])]
        plan.compared["pairs"] += 1
        if len(set(orders)) != len(orders):
            yield Contradiction(
                "pairs", about, "its sites have an order of building", "two share one"
            )
        for head in heads:
            for other in own:
                if other["control"] == "vertical":
                    continue
                if float(other["elevation_m"]) > float(head["elevation_m"]) + ROUNDED_M:
                    yield Contradiction(
                        "pairs",
                        at(other),
                        f"it is the control below {at(head)}",
                        "it lies higher",
                    )
                if int(other["build_order"]) > int(head["build_order"]):
                    yield Contradiction(
                        "pairs", at(other), f"it is built before {at(head)}", "its order is later"
                    )


def answers(plan: PlanTables) -> Iterator[Contradiction]:
    """Stone is no larger than itself, every site is ranked once, referred ones after the others."""
    last_built, first_referred = 0, 10**9
    for site in plan.sites():
        plan.compared["stone sizes"] += 1
        if (
            known(site["stone_d50_m"])
            and known(site["stone_d100_m"])
            and site["stone_d50_m"] > site["stone_d100_m"] + 1e-9
        ):
            yield Contradiction(
                "stone sizes",
                at(site),
                f"half of its stone is over {centimetres(site['stone_d50_m'])}",
                f"the largest is {centimetres(site['stone_d100_m'])}",
            )
        if not known(site.get("rank")) or int(site["rank"]) <= 0:
            continue
        if site["control"] in NOT_BUILT:
            first_referred = min(first_referred, int(site["rank"]))
        else:
            last_built = max(last_built, int(site["rank"]))
    plan.compared["referred stand last"] += 1
    if first_referred < last_built:
        yield Contradiction(
            "referred stand last",
            f"rank {first_referred}",
            "nothing is built there",
            f"rank {last_built}, which is built, stands after it",
        )
