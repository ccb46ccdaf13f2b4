"""Which site first: a weighted mean of five measures, from an editable file of weights.

Every measure runs from 0 to 1 and is written out below, so that a rank can be followed by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from siting.sites import Sites
from siting.values.input_errors import RulesError
from siting.values.rules import Rules
from siting.values.settings_file import Source, number, own_file, read_settings, source_name, words
from siting.values.wording import hectares, metres
from terrain.values.arrays import FloatArray, IntArray

WEIGHTS_FILE = "weights.toml"
#: Full marks for urgency: a drop at the hand limit on this much land, ha (common practice).
URGENT_AREA_HA = 10.0
#: Exponent of the drainage area in the retreat of gully heads: SCS TR-32 (from memory).
RETREAT_EXPONENT = 0.46
#: Worth of ground where nothing whole lies above: a series in an incised reach, a fan.
SERIES_WORTH, FAN_WORTH = 0.3, 0.4
#: What each structure further up a series loses in score.
SERIES_STEP = 0.03
SCORE_DECIMALS = 3
MEASURES = ("worth", "urgency", "ease", "base", "sureness")
_WORDS = {
    "worth": "the ground above the drop is still whole",
    "urgency": "the drop is likely to move fast",
    "ease": "it takes little stone and work",
    "base": "it lies lowest on its way, where work begins",
    "sureness": "the finding is sure",
}


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """Weights of the measures and factors of the controls, with their reasons.

    Parameters
    ----------
    weights
        Weight of each of `MEASURES`, not below 0.
    factors
        Factor of each control, 0 to 1.
    origin
        The file they come from.
    """

    weights: Mapping[str, float]
    factors: Mapping[str, float]
    origin: str


def load_weights(source: Source | None = None) -> Weights:
    """Read weights; what a user's file does not hold stays as it comes with the package.

    Raises
    ------
    RulesError
        The file cannot be read, is of another version, or holds an unknown name, a number outside
        its range, or one without a reason.
    """
    own = own_file(WEIGHTS_FILE)
    tables = {group: _values(own, group, WEIGHTS_FILE) for group in ("weights", "factors")}
    origin = WEIGHTS_FILE
    if source is not None:
        origin = source_name(source)
        given = read_settings(source, own)
        for group, values in tables.items():
            values |= _values(given, group, origin)
    if sum(tables["weights"].values()) <= 0:
        raise RulesError(f"{origin}: all weights are zero", expected="at least one above zero")
    high = [name for name, value in tables["factors"].items() if value > 1]
    if high:
        raise RulesError(f"{origin}: the factor of {high[0]} is above 1", expected="0 to 1")
    return Weights(MappingProxyType(tables["weights"]), MappingProxyType(tables["factors"]), origin)


def _values(
    tables: Mapping[str, Mapping[str, Mapping[str, object]]], group: str, file: str
) -> dict[str, float]:
    out = {}
    for name, entry in tables.get(group, {}).items():
        where = f"{file}: {group}.{name}"
        out[name] = number(entry, "value", where)
        words(entry, "reason", where)
        if out[name] < 0:
            raise RulesError(f"{where} is {out[name]:g}", expected="zero or more")
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """Scores and ranks of sites.

    Parameters
    ----------
    score
        0 to 1, rounded to three decimals, shape ``(n,)``.
    rank
        1 for the first, shape ``(n,)``.
    measures
        The measures behind the score, in the order of `MEASURES`, shape ``(n, 5)``.
    """

    score: FloatArray
    rank: IntArray
    measures: FloatArray

    def take(self, keep: IntArray) -> Ranking:
        """Return some of them, ranked anew among each other."""
        rank = np.empty(keep.size, dtype=np.int64)
        rank[np.argsort(self.rank[keep], kind="stable")] = np.arange(1, keep.size + 1)
        return Ranking(self.score[keep], rank, self.measures[keep])


def rank_sites(sites: Sites, *, rules: Rules, weights: Weights) -> Ranking:
    """Score and rank; equal scores keep the order of the ids, so a base comes before its head.

    What is left out comes last.
    """
    measures = _measures(sites, rules)
    share = np.array([weights.weights[m] for m in MEASURES])
    score = measures @ share / share.sum() if sites.count else np.empty(0)
    score = score * np.array([weights.factors[s.control] for s in sites])
    for i, p in enumerate(sites.proposals):
        if p.head.index < 0 and p.member.order > 1:
            score[i] *= max(0.0, 1.0 - SERIES_STEP * (p.member.order - 1))
    score = np.round(_shared_by_pairs(sites, score), SCORE_DECIMALS) + 0.0
    group_first = _first_id_of_group(sites)
    left_out = sites.are(lambda s: bool(s.proposal.field.left_out))
    order = np.lexsort((np.arange(sites.count), group_first, -score, left_out))
    rank = np.empty(sites.count, dtype=np.int64)
    rank[order] = np.arange(1, sites.count + 1)
    return Ranking(score, rank, measures)


def _measures(sites: Sites, rules: Rules) -> FloatArray:
    """Measures of each site in the order of `MEASURES`.

    worth: at a head, how little the channel above is cut, against the depth below the drop; fixed
    for a series and a fan. urgency: drop times area to the power 0.46, against the hand limit on
    10 ha. ease: half how low the drop (or structure) is, half how narrow the channel (a
    half where nobody saw it, and on a road). base: 1 over 1 plus the heads below. sureness: the
    confidence.
    """
    out = np.zeros((sites.count, len(MEASURES)))
    limit = rules.high("hand_work.drop")
    widest = rules.high("hand_work.channel_width")
    widths, depths, areas = sites.width_m, sites.depth_m, sites.drainage_area_ha
    heights = sites.sized("height_m")
    for i, site in enumerate(sites):
        head, area = site.head, float(areas[i])
        if head.index >= 0:
            drop = site.spot.drop.height_m if np.isfinite(site.spot.drop.height_m) else limit
            depth = max(float(np.nan_to_num(depths[i])), drop, 1e-6)
            above = np.nan_to_num(head.above_m, nan=depth)
            worth = 1.0 - min(1.0, max(0.0, above) / depth)
            urgency = min(1.0, drop / limit * (area / URGENT_AREA_HA) ** RETREAT_EXPONENT)
        else:
            drop = float(np.nan_to_num(heights[i]))
            worth = FAN_WORTH if site.control == "spread" else SERIES_WORTH
            urgency = 0.5 * min(1.0, (area / URGENT_AREA_HA) ** RETREAT_EXPONENT)
        low = 1.0 - min(1.0, drop / limit)
        seen = not (site.on_road or site.width_unseen)
        narrow = 1.0 - min(1.0, float(widths[i]) / widest) if seen else 0.5
        ease, sure = 0.5 * (low + narrow), site.proposal.confidence
        out[i] = worth, urgency, ease, 1.0 / (1 + head.heads_below), sure
    return out


def _shared_by_pairs(sites: Sites, score: FloatArray) -> FloatArray:
    """Give the structures that pair with a head the score of that head: they are built as one."""
    group = sites.whole(lambda s: s.member.group)
    best: dict[int, float] = {}
    for i in np.flatnonzero((group > 0) & (sites.controls == "vertical")):
        best[int(group[i])] = max(best.get(int(group[i]), 0.0), float(score[i]))
    return np.array([best.get(int(g), own) for g, own in zip(group, score, strict=True)])


def _first_id_of_group(sites: Sites) -> IntArray:
    """Lowest site of each one's group, so that equal scores do not tear a pair apart."""
    group = sites.whole(lambda s: s.member.group)
    first: dict[int, int] = {}
    for i, g in enumerate(group):
        first.setdefault(int(g), i)
    return np.array([first[int(g)] if g else i for i, g in enumerate(group)], dtype=np.int64)


def why_first(sites: Sites, ranking: Ranking, weights: Weights) -> str:
    """Say in one or two sentences why the first site is first; empty without sites."""
    if not sites.count:
        return ""
    i = int(np.argmin(ranking.rank))
    group = sites[i].member.group
    own = [j for j, s in enumerate(sites) if group and s.member.group == group]
    head = next((j for j in own if sites[j].control == "vertical"), i)
    name = f"Site {i + 1} ({sites[i].structure}"
    name += f", the base of site {head + 1})" if head != i else ")"
    share = np.array([weights.weights[m] for m in MEASURES])
    lead = share * (ranking.measures[head] - ranking.measures.mean(axis=0))
    top = [MEASURES[k] for k in np.argsort(-lead, kind="stable")[:2] if lead[k] > 0]
    if sites[head].head.index < 0:
        top = [m for m in top if m not in ("worth", "urgency")]
    if sites[i].is_referred:
        top = [m for m in top if m != "ease"]
    because = " and ".join(_WORDS[m] for m in top) or "no other scores higher"
    drop = sites[head].spot.drop.height_m
    facts = f"{hectares(float(sites.drainage_area_ha[head]))} drain to it"
    if np.isfinite(drop):
        facts = f"a drop of {metres(drop)}, {facts}"
    sentence = f"{name} comes first, score {ranking.score[i]:.2f} of 1: {because} ({facts})."
    tied = int(np.count_nonzero(ranking.score == ranking.score[i]))
    if tied > max(len(own), 1):
        sentence += " Equal scores are listed by site number."
    return sentence
