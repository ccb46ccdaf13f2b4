"""What a plan knows about every site, taken together once for the whole page."""

from __future__ import annotations

import re
from collections import defaultdict
from types import MappingProxyType
from typing import Any

from cli.plan.explanation import TABLES, Explanation, Record
from cli.plan.plan_reading import PlanFile
from cli.plan.structure_looks import looks_of

_POWERS = re.compile(r"\b(k?m)([23])(?!\w)")
_RAISED = {"2": "\N{SUPERSCRIPT TWO}", "3": "\N{SUPERSCRIPT THREE}"}


class Texts:
    """Sentences of the page, each kept once; everything else names them by number.

    Sites of one kind share most of their build steps and reasons, so that the page is less than
    half as large as it would be with every sentence in its place.
    """

    def __init__(self) -> None:
        self._number: dict[str, int] = {}

    def keep(self, text: object) -> int:
        """Return the number of a text, which is new or was kept before."""
        return self._number.setdefault(raised(str(text)), len(self._number))

    @property
    def all(self) -> list[str]:
        """Every text in the order of its number."""
        return list(self._number)


def explanations(plan: PlanFile) -> list[Explanation]:
    """Gather what is known about each site, in the order of the list.

    Parameters
    ----------
    plan
        The plan; one without sites gives an empty list.
    """
    sites: list[Record] = sorted(plan.rows("sites"), key=lambda row: row["list_place"])
    tables = {name: _by_site(plan.rows(name)) for name in TABLES if name in plan.layers}
    before = tuple(plan.rows("before_you_build")) if "before_you_build" in plan.layers else ()
    pairs = defaultdict(list)
    looks = looks_of(plan.layers)
    for site in sites:
        if site["pair_id"]:
            pairs[site["pair_id"]].append(site)
    return [
        Explanation(
            plan=plan.name,
            units=plan.units,
            site=site,
            mates=tuple(other for other in pairs[site["pair_id"]] if other is not site),
            rows=MappingProxyType(
                {name: tuple(tables.get(name, {}).get(site["site_id"], ())) for name in TABLES}
            ),
            before=before,
            run=plan.run_info,
            looks=looks,
        )
        for site in sites
    ]


def _by_site(rows: list[dict[str, Any]]) -> dict[int, list[dict[str, Any]]]:
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        found[row["site_id"]].append(row)
    return found


def raised(text: str) -> str:
    """Write units of area and volume with a raised figure: m2 as m\N{SUPERSCRIPT TWO}."""
    return _POWERS.sub(lambda unit: unit[1] + _RAISED[unit[2]], text)


def shortened(text: object, most: int = 90) -> str:
    """Cut a text that would not fit into a heading or a cell; the sheet shows it whole."""
    words = " ".join(str(text or "").split())
    return words if len(words) <= most else words[: most - 1].rstrip() + "\N{HORIZONTAL ELLIPSIS}"
