"""A plan as the audit sees it, and what it finds there."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from siting.values.columns import Columns

Row = dict[str, Any]
#: What stands at a site that is left out since nothing fits there any more.
NOTHING = "nothing"
#: What a site is where nothing is built now.
NOT_BUILT = frozenset({"refer", "hold"})


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two things in a plan that cannot both be so.

    Parameters
    ----------
    rule
        Name of the rule that found it.
    about
        What it is about, such as ``site 12`` or ``work 3``.
    says, but
        The two things, in words.
    """

    rule: str
    about: str
    says: str
    but: str

    def __str__(self) -> str:
        return f"{self.about}: {self.says}; but {self.but} ({self.rule})."


@dataclass(frozen=True, eq=False)
class PlanTables:
    """Layers and tables of a plan, SI columns by name, as they stand in the file.

    Parameters
    ----------
    tables
        Columns of each layer or table by its name; a missing one counts as empty.
    facts
        Record of the run, name to value.
    compared
        Counts, by rule, how often something was held against something: a rule that compares
        nothing has shown nothing.
    """

    tables: Mapping[str, Columns]
    facts: Mapping[str, str]
    compared: Counter[str] = field(default_factory=Counter)
    _rows: dict[str, list[Row]] = field(default_factory=dict)
    _sites: dict[str, dict[int, list[Row]]] = field(default_factory=dict)

    def rows(self, name: str) -> list[Row]:
        """Rows of a table in their order."""
        if name not in self._rows:
            columns = self.tables.get(name, {})
            names = list(columns)
            self._rows[name] = [
                dict(zip(names, values, strict=True))
                for values in zip(*(np.asarray(c).tolist() for c in columns.values()), strict=True)
            ]
        return self._rows[name]

    def by_site(self, name: str) -> dict[int, list[Row]]:
        """Rows of a table by the site that they are about."""
        if name not in self._sites:
            out: dict[int, list[Row]] = {}
            for row in self.rows(name):
                out.setdefault(int(row["site_id"]), []).append(row)
            self._sites[name] = out
        return self._sites[name]

    def sentences(self, site_id: int) -> Iterator[str]:
        """Yield every sentence about a site: its reason and caution, reasoning, instructions."""
        for site in self._own("sites", site_id):
            yield from (str(site[name]) for name in ("reason", "caution") if known(site[name]))
        for name in ("reasons", "instructions"):
            yield from (str(r["text"]) for r in self._own(name, site_id) if known(r["text"]))

    def _own(self, name: str, site_id: int) -> list[Row]:
        return self.by_site(name).get(site_id, [])

    def sites(self) -> Iterator[Row]:
        """Rows of the sites."""
        yield from self.rows("sites")

    def built(self) -> Iterator[Row]:
        """Sites where something is built: not those that are referred, held or left out."""
        for site in self.sites():
            if site["control"] not in NOT_BUILT and known(site.get("cost_likely")):
                yield site


def left_out(site: Row) -> bool:
    """Whether a site was left out on site, or nothing fits there with what was measured."""
    return site["structure"] == NOTHING or site.get("decision") == "skip"


def known(value: Any) -> bool:
    """Whether a cell holds something: neither None nor NaN nor an empty text."""
    if value is None or value == "":
        return False
    return not (isinstance(value, float) and math.isnan(value))


def differ(a: Any, b: Any, *, share: float = 2e-3, least: float = 1e-6) -> bool:
    """Whether two numbers are not the same one, rounding aside; only one known differs too.

    Parameters
    ----------
    share, least
        What rounding may take from the larger one, as a share of it and at least.
    """
    if not known(a) or not known(b):
        return known(a) != known(b)
    return abs(float(a) - float(b)) > max(share * max(abs(float(a)), abs(float(b))), least)


def at(site: Row) -> str:
    """Name a site."""
    return f"site {int(site['site_id'])}"
