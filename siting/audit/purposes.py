"""Every structure does what it costs money for: purpose, height, limits, pairs, referrals."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from siting.audit.plan_tables import NOT_BUILT, Contradiction, PlanTables, Row, at, known
from siting.values.wording import centimetres, metres

#: Heights are rounded to this, m.
ROUNDED_M = 0.006
CONTROLS = ("vertical", "grade", "spread", "road")


def purposes(plan: PlanTables) -> Iterator[Contradiction]:
    """What is built has a purpose, a size, steps, and a price; what is not built has none."""
    steps = plan.by_site("instructions")
    sizes = plan.by_site("sizes")
    for site in plan.sites():
        if site["control"] in NOT_BUILT:
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
            )
            if not there
        ]
        if lacks and not known(site.get("decision")):
            yield Contradiction(
                "something is built", at(site), f"a {site['structure']} is to be built", lacks[0]
            )


def _nothing_there(
    plan: PlanTables, site: Row, sizes: dict[int, list[Row]]
) -> Iterator[Contradiction]:
    plan.compared["nothing is built"] += 1
    for what, there in (
        ("it has a price", known(site["cost_likely"]) and float(site["cost_likely"]) > 0),
        ("it has a height", known(site["structure_height_m"])),
        ("it has sizes", bool(sizes.get(int(site["site_id"])))),
        ("a budget buys it", bool(site["chosen"]) and known(site["cost_likely"])),
    ):
        if there:
            yield Contradiction(
                "nothing is built", at(site), f"its control is {site['control']}", what
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
        low = site["bankfull_low_m"] if known(site["bankfull_low_m"]) else site["bankfull_depth_m"]
        allowed = min(share * float(low), most_m) if known(low) else least_m
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
