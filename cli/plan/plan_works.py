"""Works of a plan with their sites, and the sites that nothing is built at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from cli.plan.explanation import Record, records
from cli.plan.layers import Layer

#: Controls of what hands build; any other control, known or not, is not built.
BUILT: Final = frozenset({"vertical", "grade", "spread"})
REFERRED: Final = "refer"


@dataclass(frozen=True, slots=True)
class SiteGroup:
    """Sites that are built together.

    Parameters
    ----------
    rank
        Place in the list, 1 first.
    sites
        In the order of building, fields of the layer ``sites``.
    work
        Fields of the layer ``works``; None in a plan of an older format, where each site stands
        alone.
    """

    rank: int
    sites: tuple[Record, ...]
    work: Record | None = None

    @property
    def first(self) -> Record:
        """The site that is built first."""
        return self.sites[0]

    @property
    def is_chosen(self) -> bool:
        """Whether it is in the set that a budget chose; always so without a budget."""
        return bool(self.first["chosen"] if self.work is None else self.work["chosen"])


@dataclass(frozen=True, slots=True)
class NotBuilt:
    """A site that hands do not build: for an engineer, or held for another reason.

    Parameters
    ----------
    site
        Fields of the layer ``sites``.
    referred
        Fields of the layer ``referred``; None where the plan does not tell what is at risk.
    """

    site: Record
    referred: Record | None = None

    @property
    def mark(self) -> str:
        """What it is called beside ranks: E and its place, or its rank in an older plan."""
        if self.referred is not None:
            return f"E{self.referred['risk_rank']}"
        return str(self.site["rank"] or "-")


def is_built(site: Record) -> bool:
    """Whether hands build there."""
    return str(site["control"]) in BUILT


def tells_works(layers: Mapping[str, Layer]) -> bool:
    """Whether a plan ranks works; one of an older format ranks sites."""
    return any(name in layers and layers[name].rows > 0 for name in ("works", "referred"))


def site_groups(layers: Mapping[str, Layer]) -> tuple[SiteGroup, ...]:
    """What is built, by rank: works, or single sites in a plan of an older format."""
    sites = [s for s in _in_place(layers) if is_built(s)]
    if not tells_works(layers):
        return tuple(SiteGroup(int(s["rank"]), (s,)) for s in sites)
    groups = []
    for work in sorted(records(layers["works"]), key=lambda w: int(w["rank"])):
        own = [s for s in sites if s["work_id"] == work["work_id"]]
        own.sort(key=lambda s: int(s["build_order"]))
        if own:
            groups.append(SiteGroup(int(work["rank"]), tuple(own), work))
    return tuple(groups)


def not_built(layers: Mapping[str, Layer]) -> tuple[NotBuilt, ...]:
    """What hands do not build, in the order of the list: what is referred most at risk first."""
    told = records(layers["referred"]) if "referred" in layers else []
    by_site = {int(r["site_id"]): r for r in told}
    return tuple(
        NotBuilt(s, by_site.get(int(s["site_id"]))) for s in _in_place(layers) if not is_built(s)
    )


def _in_place(layers: Mapping[str, Layer]) -> list[Record]:
    return sorted(records(layers["sites"]), key=lambda s: int(s["list_place"]))
