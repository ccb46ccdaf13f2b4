"""The answer that each headcut has: its site, or why there is none."""

from __future__ import annotations

import numpy as np

from siting.channels.ground import Ground
from siting.layout.head_sifting import HILLSIDE, NO_CHANNEL, OUTSIDE, UNSURE, sifted
from siting.sites import Sites
from siting.values.columns import Columns, texts_of
from siting.values.wording import counted, first_upper, listed, percent
from terrain.values.arrays import IntArray

#: Answer of a headcut that is a site.
AS_SITE = "site"
_SHORT = {
    UNSURE: "not sure enough",
    NO_CHANNEL: "on no mapped channel",
    OUTSIDE: "outside the ranch",
    HILLSIDE: "in a bed that belongs to the hillside",
}
#: So many headcuts of one kind are named in a sentence.
_NAMED = 12


def answer_columns(ground: Ground, sites: Sites, keep: IntArray) -> Columns:
    """Columns of the layer ``headcuts`` that say what became of each.

    Parameters
    ----------
    ground
        Terrain with its headcuts.
    sites
        The sites, in the order of their numbers.
    keep
        Which headcuts the layer holds, ``(n,)``.

    Raises
    ------
    RuntimeError
        A headcut that was sifted in is no site: a mistake of the program.
    """
    site_of: dict[int, int] = {}
    for number, site in enumerate(sites, start=1):
        if site.proposal.at_head:
            site_of.setdefault(site.head.index, number)
    found = sifted(ground)
    slope = np.full(ground.headcuts.size, np.nan)
    slope[found.measures.index] = found.slope
    codes, why = [], []
    for i in keep.tolist():
        code = AS_SITE if i in site_of else str(found.code[i])
        codes.append(code)
        why.append("" if code == AS_SITE else _why(ground, i, code, float(slope[i])))
    return {
        "site_id": np.array([site_of.get(i, 0) for i in keep.tolist()], dtype=np.int64),
        "answer": texts_of(codes),
        "why_no_site": texts_of(why),
    }


def _why(ground: Ground, i: int, code: str, slope: float) -> str:
    heads, rules = ground.headcuts, ground.rules
    if code == UNSURE:
        side = " It lies at the side wall of a larger channel." if heads.is_side[i] else ""
        return (
            f"Not sure enough: confidence {heads.confidence[i]:.2f}, below "
            f"{rules.value('measuring.least_confidence'):.2f}.{side} Look at it before it is "
            "planned for."
        )
    if code == HILLSIDE:
        steepest = percent(rules.value("refer.slope"))
        return (
            f"The bed falls at {percent(slope)} here, more than {steepest}: it belongs to the "
            "hillside, and nothing is built there by hand."
        )
    if code == NO_CHANNEL:
        return "The land above it is too small for a channel: its water comes to none."
    if code == OUTSIDE:
        return "It lies outside the ranch."
    # every head that is sifted in is proposed, and every proposal becomes a site
    raise RuntimeError(f"headcut {i + 1} is no site, and nothing says why")


def answer_sentence(answers: Columns) -> str:
    """Say which headcuts of the layer are no site, and why; empty where all are."""
    numbers: dict[str, list[str]] = {}
    for number, code in enumerate(answers["answer"].tolist(), start=1):
        if code != AS_SITE:
            numbers.setdefault(code, []).append(str(number))
    if not numbers:
        return ""
    parts = []
    for code, own in numbers.items():
        more = f" and {len(own) - _NAMED} more" if len(own) > _NAMED else ""
        named = ", ".join(own[:_NAMED]) if more else listed(own[:_NAMED])
        parts.append(f"{_SHORT[code]}: headcut {named}{more}")
    total = sum(map(len, numbers.values()))
    verb = "is" if total == 1 else "are"
    return f"{counted(total, 'headcut')} {verb} no site. {first_upper('; '.join(parts))}."
