"""How often two works change places when a judged number moves by a third.

Run ``python -m tests.judgement.moved_numbers``: the sample is worked out once; then each number of
the chances, of what a hectare counts for, and of the groups of works, that rests on judgement, is
made a third larger and a third smaller, alone. Told is the share of pairs of works that change
places, over all numbers and for those that move most, and how often the first three stay the first
three.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from siting.values.rules import Limit, Rules, load_rules
from siting.works.making_works import works_of
from siting.works.work import Judging
from tests.judgement.sample_worked import worked_sample

GROUPS = ("chance_lost", "chance_holds", "works")
SHARES = (4 / 3, 2 / 3)


def moved(rules: Rules) -> Iterator[tuple[str, Rules]]:
    """Rules with one judged number moved; what is a chance or a factor stays at most 1."""
    for name, limit in rules.limits.items():
        if name.split(".")[0] not in GROUPS:
            continue
        for share, end in itertools.product(SHARES, ("value", "low", "high")):
            now = _end(limit, end)
            if now is None or now == 0:
                continue
            most = 1.0 if limit.unit in ("factor", "share", "chance") else np.inf
            then = min(now * share, most)
            changed = _with(limit, end, then)
            if changed is not None:
                yield (
                    f"{name} {end} {now:g} to {then:.3g}",
                    replace(rules, limits={**rules.limits, name: changed}),
                )


def _end(limit: Limit, end: str) -> float | None:
    """One number of a limit; None where it has none of its own."""
    single = limit.low == limit.high
    if end == "value":
        return limit.low if single else None
    return None if single else float(getattr(limit, end))


def _with(limit: Limit, end: str, value: float) -> Limit | None:
    """The limit with a number moved; None where its ends would cross."""
    if end == "value":
        return replace(limit, low=value, high=value)
    out = replace(limit, **{end: value})
    return out if out.low <= out.high else None


def swapped(before: list[int], after: list[int]) -> float:
    """Share of pairs that stand the other way round."""
    place = {work: i for i, work in enumerate(after)}
    pairs = list(itertools.combinations(before, 2))
    return float(np.mean([place[a] > place[b] for a, b in pairs])) if pairs else 0.0


def main() -> None:
    """Print the shares."""
    sample = worked_sample()
    rules = load_rules()

    def order(given: Rules) -> list[int]:
        works = works_of(
            sample.sites, sample.effects, sample.takes.bill.by_site,
            sample.takes.quantities.crew_days, rules=given, judging=Judging(),
        )  # fmt: skip
        return [work.id for work in works.by_rank]

    usual = order(rules)
    found = []
    kept = 0
    for name, other in moved(rules):
        now = order(other)
        if set(now) != set(usual):
            continue
        found.append((swapped(usual, now), name))
        kept += set(now[:3]) == set(usual[:3])
    shares = np.array([share for share, _ in found])
    print(f"{len(usual)} works; {len(found)} moves of a number by a third")
    print(f"pairs that change places: {shares.mean():.2%} on the mean, {shares.max():.2%} at most")
    print(f"the first three stay the first three in {kept} of {len(found)}")
    for share, name in sorted(found, reverse=True)[:8]:
        print(f"  {share:.2%}  {name}")


if __name__ == "__main__":
    main()
