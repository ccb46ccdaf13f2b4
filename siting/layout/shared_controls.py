"""Grade controls of two headcuts that fall on one spot are one; their heads then share a group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from siting.layout.proposals import Proposal

#: Two heads that share one grade control: places of a pair closer than this are one, m.
SAME_PLACE_M = 3.0


def share_grade_controls(proposals: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """Merge grade controls of two heads that fall on one spot, and join their groups."""
    kept: list[Proposal] = []
    joined: dict[int, int] = {}
    controls: list[Proposal] = []
    for one in proposals:
        if not one.at_head:
            # two in series below one head stay two
            others = (p for p in controls if p.member.group != one.member.group)
            same = next((p for p in others if _apart_m(p, one) <= SAME_PLACE_M), None)
            if same is not None:
                group = same.member.group
                joined[one.member.group] = joined.get(group, group)
                continue
            controls.append(one)
        kept.append(one)
    return _ordered([_moved(p, joined.get(p.member.group, p.member.group)) for p in kept])


def _apart_m(one: Proposal, other: Proposal) -> float:
    return float(np.hypot(one.where.x_m - other.where.x_m, one.where.y_m - other.where.y_m))


def _moved(p: Proposal, group: int) -> Proposal:
    return replace(p, member=replace(p.member, group=group))


def _ordered(proposals: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """Within each group number the grade controls first, as they are, then the heads."""
    last: dict[int, int] = {}
    for p in proposals:
        if p.member.group and not p.at_head:
            group, order = p.member.group, p.member.order
            last[group] = max(last.get(group, 0), order)
    out = []
    for p in proposals:
        group = p.member.group
        if group and p.at_head:
            last[group] = last.get(group, 0) + 1
            p = replace(p, member=replace(p.member, order=last[group]))
        out.append(p)
    return tuple(out)
