"""Everything that a plan knows about one site, taken together for telling why."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cli.file_errors import LayerError
from cli.plan.fields import Units
from cli.plan.layers import Layer
from cli.plan.structure_looks import PLAIN, StructureLook, StructureLooks, looks_of

Record = Mapping[str, Any]
#: Tables that tell about a site.
TABLES = (
    "reasons",
    "hydraulics",
    "spacings",
    "sizes",
    "materials",
    "costs",
    "instructions",
    "floods",
)
_SITE = re.compile(r"(?:(?P<what>rank|work|headcut|look):)?(?P<number>\d{1,9})", re.IGNORECASE)
#: Fields that a site, a work, a rank, a headcut or a reach to look at first is named by.
KEYS = {
    "site": "site_id",
    "rank": "rank",
    "work": "work_id",
    "headcut": "headcut_id",
    "look": "look_id",
}
#: Purpose of a place on a road.
ROAD = "road"
_AGAIN = "make it again with gullywalk screen"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for: a site, a work by its number or its rank, a headcut, a reach.

    A work is told with all its sites, a headcut as the site that stands at it, a reach as what is
    looked at first.

    Parameters
    ----------
    number
        The number.
    what
        One of `KEYS`.
    """

    number: int
    what: str = "site"

    @property
    def by_rank(self) -> bool:
        """Whether it is a rank."""
        return self.what == "rank"

    @property
    def by_headcut(self) -> bool:
        """Whether it is a headcut."""
        return self.what == "headcut"

    @property
    def by_look(self) -> bool:
        """Whether it is a reach to look at first."""
        return self.what == "look"

    @property
    def key(self) -> str:
        """Field that holds the number."""
        return KEYS[self.what]

    @classmethod
    def read(cls, text: str) -> Wanted:
        """Read ``12``, ``rank:3``, ``work:4``, ``headcut:7`` or ``look:2``.

        Raises
        ------
        ValueError
            Neither.
        """
        match = _SITE.fullmatch(text.strip())
        if match is None:
            raise ValueError(text)
        return cls(int(match["number"]), (match["what"] or "site").lower())


@dataclass(frozen=True, slots=True, eq=False)
class Explanation:
    """What a plan knows about one site; SI, sentences in the plan's units.

    Parameters
    ----------
    plan
        Name of the plan's file.
    units
        Units that the plan was written in.
    site
        Fields of the layer ``sites``.
    mates
        The other sites of its pair, the same fields.
    rows
        Rows of each of `TABLES` that are about the site, in their order.
    before
        Rows of ``before_you_build``.
    run
        Record of the run, name to value.
    looks
        How the types of the plan's structures are called and drawn.
    """

    plan: str
    units: Units
    site: Record
    mates: tuple[Record, ...]
    rows: Mapping[str, tuple[Record, ...]]
    before: tuple[Record, ...]
    run: Mapping[str, str]
    looks: StructureLooks = PLAIN

    @property
    def look(self) -> StructureLook:
        """How the structure of the site is called and drawn."""
        return self.looks.of(self.site["structure"])

    @property
    def site_ids(self) -> tuple[int, ...]:
        """Number of the site and of those of its pair."""
        return tuple(int(site["site_id"]) for site in (self.site, *self.mates))

    @property
    def title(self) -> str:
        """Heading of a picture."""
        return f"Site {self.site['site_id']}{self.ranked}: {self.site['structure']}"

    @property
    def ranked(self) -> str:
        """Rank of its work behind a comma, or that it is on hold; nothing where it has neither."""
        if self.site["control"] == "hold":
            return ", on hold"
        rank, work = self.site["rank"], self.site["work_id"]
        if not rank:
            return ""
        return f", rank {rank}" + (f", work {work}" if work else "")

    @property
    def on_road(self) -> bool:
        """Whether it stands on a road: no channel and no flood is measured there."""
        return bool(self.site["purpose"] == ROAD)

    def instructions(self, kind: str) -> tuple[str, ...]:
        """Instructions of one kind, in their order."""
        rows = (row for row in self.rows["instructions"] if row["kind"] == kind)
        return tuple(str(row["text"]) for row in rows if row["text"])

    def reasons(self, part: str) -> tuple[Record, ...]:
        """Rows of one part of the reasoning."""
        return tuple(row for row in self.rows["reasons"] if row["part"] == part)

    @property
    def sources(self) -> tuple[tuple[str, str], ...]:
        """Every source that is named, once, with what kind of source it is."""
        found: dict[str, str] = {}
        for row in (*self.rows["reasons"], *self.rows["spacings"]):
            if row["source"]:
                found.setdefault(str(row["source"]), basis_words(row["basis"]))
        for row in self.rows["floods"]:
            if row["used"]:
                found.setdefault(str(row["source"]), "")
        return tuple(found.items())

    @property
    def flood_range(self) -> Record | None:
        """Row of the flood method in use at the design return period."""
        years = float(self.site["design_return_period_yr"])
        same = (r for r in self.rows["floods"] if r["used"] and r["return_period_yr"] == years)
        return next(same, None)


def basis_words(basis: object) -> str:
    """Say what kind of source it is; nothing for what is published or measured."""
    text = str(basis or "").strip()
    if text in ("", "published", "measured"):
        return ""
    if "no published source" in text:
        return text
    return text.replace("common practice", "common practice, no published source")


def explanation(
    layers: Mapping[str, Layer], wanted: Wanted, *, plan: str, units: Units
) -> Explanation:
    """Gather what a plan knows about one site.

    Parameters
    ----------
    layers
        Layers and tables of the plan, SI.
    wanted
        Which site.
    plan, units
        Name of the plan's file, and the units it was written in.

    Raises
    ------
    LayerError
        No plan, one of an older version, one without sites, or no such site.
    """
    if "sites" not in layers:
        raise LayerError(f"{plan} is not a plan: it has no layer 'sites'",
                         expected="a plan made by gullywalk screen")  # fmt: skip
    lacking = [name for name in (*TABLES, "before_you_build") if name not in layers]
    if lacking:
        raise LayerError(
            f"{plan} was made by an older version: it has no table '{lacking[0]}'", do=_AGAIN
        )
    sites = records(layers["sites"])
    if not sites:
        raise LayerError(f"{plan} holds no sites: there is nothing to explain")
    if wanted.by_headcut:
        wanted = _site_of(headcut_of(layers, wanted.number, plan=plan))
    site = _chosen(sites, wanted, plan)
    number = site["site_id"]
    rows = {
        name: tuple(records(layers[name], layers[name].columns["site_id"] == number))
        for name in TABLES
    }
    if not rows["reasons"]:
        raise LayerError(f"{plan} holds no reasoning for site {number}", do=_AGAIN)
    run = layers.get("run_info")
    return Explanation(
        plan=plan,
        units=units,
        site=site,
        mates=tuple(
            other
            for other in sites
            if site["pair_id"] and other["pair_id"] == site["pair_id"] and other is not site
        ),
        rows=MappingProxyType(rows),
        before=tuple(records(layers["before_you_build"])),
        run={r["name"]: r["value"] for r in records(run)} if run is not None else {},
        looks=looks_of(layers),
    )


def headcut_of(layers: Mapping[str, Layer], number: int, *, plan: str) -> Record:
    """Fields of one headcut.

    Raises
    ------
    LayerError
        The plan has no such headcut.
    """
    rows = records(layers["headcuts"]) if "headcuts" in layers else []
    for row in rows:
        if row["headcut_id"] == number:
            return row
    raise LayerError(
        f"{plan} has no headcut {number}",
        expected=f"headcut 1 to {len(rows)}" if rows else "a plan with headcuts",
    )


def _site_of(headcut: Record) -> Wanted:
    if not headcut["site_id"]:
        why = str(headcut["why_no_site"] or "The plan does not say why.")
        raise LayerError(
            f"headcut {headcut['headcut_id']} is no site. {why.removesuffix('.')}",
            expected="a headcut with a site",
        )
    return Wanted(int(headcut["site_id"]))


def records(layer: Layer, which: NDArray[np.bool_] | None = None) -> list[dict[str, Any]]:
    """Rows of a layer, or some of them, as dicts of plain values; unknown numbers are NaN."""
    rows = slice(None) if which is None else which
    columns = {name: values[rows].tolist() for name, values in layer.columns.items()}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _chosen(sites: list[dict[str, Any]], wanted: Wanted, plan: str) -> dict[str, Any]:
    key = wanted.key
    for site in sites:
        if site[key] == wanted.number:
            return site
    what = wanted.what
    have = np.array([site[key] for site in sites])
    raise LayerError(
        f"{plan} has no {what} {wanted.number}", expected=f"{what} {have.min()} to {have.max()}"
    )


def known(value: object) -> bool:
    """Whether a number is there; empty texts and NaN are not."""
    return (
        value is not None and value != "" and not (isinstance(value, float) and math.isnan(value))
    )
