"""Everything that a plan knows about one work, taken together for telling why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cli.file_errors import LayerError
from cli.plan.explanation import Record, Wanted, basis_words, records
from cli.plan.fields import Units
from cli.plan.layers import Layer


@dataclass(frozen=True, slots=True, eq=False)
class WorkExplanation:
    """What a plan knows about one work; SI, sentences in the plan's units.

    Parameters
    ----------
    plan
        Name of the plan's file.
    units
        Units that the plan was written in.
    work
        Fields of the layer ``works``.
    count
        Number of works in the plan.
    sites
        Its sites in the order of building, fields of the layer ``sites``.
    rows
        Its rows of ``work_reasons``, in their order.
    run
        Record of the run, name to value.
    """

    plan: str
    units: Units
    work: Record
    count: int
    sites: tuple[Record, ...]
    rows: tuple[Record, ...]
    run: Mapping[str, str]

    @property
    def site_ids(self) -> tuple[int, ...]:
        """Numbers of its sites in the order of building."""
        return tuple(int(site["site_id"]) for site in self.sites)

    @property
    def title(self) -> str:
        """Heading of a picture."""
        work = self.work
        return f"Work {work['work_id']}, rank {work['rank']}: {work['structures']}"

    def reasons(self, part: str) -> tuple[Record, ...]:
        """Rows of one part of the reasoning."""
        return tuple(row for row in self.rows if row["part"] == part)

    @property
    def sources(self) -> tuple[tuple[str, str], ...]:
        """Every source that is named, once, with what kind of source it is."""
        found: dict[str, str] = {}
        for row in self.rows:
            if row["source"]:
                found.setdefault(str(row["source"]), basis_words(row["basis"]))
        return tuple(found.items())


def has_works(layers: Mapping[str, Layer]) -> bool:
    """Whether a plan holds works; one of an older format does not."""
    return "works" in layers and layers["works"].rows > 0


def work_explanation(
    layers: Mapping[str, Layer], wanted: Wanted, *, plan: str, units: Units
) -> WorkExplanation:
    """Gather what a plan knows about one work.

    Parameters
    ----------
    layers
        Layers and tables of the plan, SI.
    wanted
        Which work: by its number or its rank.
    plan, units
        Name of the plan's file, and the units it was written in.

    Raises
    ------
    LayerError
        A plan without works, or no such work.
    """
    if not has_works(layers):
        raise LayerError(f"{plan} holds no works", do="name a site by its number")
    works = records(layers["works"])
    key = "rank" if wanted.by_rank else "work_id"
    work = next((w for w in works if w[key] == wanted.number), None)
    if work is None:
        raise LayerError(
            f"{plan} has no work of rank {wanted.number}"
            if wanted.by_rank
            else f"{plan} has no work {wanted.number}",
            expected=f"1 to {len(works)}",
        )
    number = work["work_id"]

    def own(layer: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        return np.asarray(layers[layer].columns["work_id"] == number)

    sites = records(layers["sites"], own("sites"))
    return WorkExplanation(
        plan=plan,
        units=units,
        work=work,
        count=len(works),
        sites=tuple(sorted(sites, key=lambda site: int(site["build_order"]))),
        rows=tuple(records(layers["work_reasons"], own("work_reasons"))),
        run={r["name"]: r["value"] for r in records(layers["run_info"])},
    )
