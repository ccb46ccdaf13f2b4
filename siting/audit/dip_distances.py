"""What is said of a dip's distance: the table's limit, the least that dips keep, and a late dip."""

from __future__ import annotations

import re
from collections.abc import Iterator

from siting.audit.figures_in_text import FIGURE, Figure, found
from siting.audit.plan_tables import Contradiction, PlanTables, at

RULE = "distance of a dip"
_LATE = re.compile(rf"the dip lies {FIGURE} farther down than the table allows")
_MOST = re.compile(rf"^Asked: at most {FIGURE} of road above it")
_LEAST = re.compile(rf"^Asked: at least {FIGURE} of road above it")
_LIES = re.compile(rf"of road above it.*Found: {FIGURE} below")
_SAID = re.compile(rf"this place is {FIGURE} below")
_SAID_MOST = re.compile(rf"water may run at most {FIGURE} along")


def dip_distances(plan: PlanTables) -> Iterator[Contradiction]:
    """A dip is late where it lies past its greatest distance, and never nearer than its least."""
    for site in plan.sites():
        if site["purpose"] != "road":
            continue
        texts = tuple(plan.sentences(int(site["site_id"])))
        most, least = _first(_MOST, texts), _first(_LEAST, texts)
        lies = _first(_LIES, texts)
        if most is None or least is None or lies is None:
            continue
        plan.compared[RULE] += 1
        late = _first(_LATE, texts)
        over, open_by = lies.value - most.value, most.open_by + lies.open_by
        said, said_most = _first(_SAID, texts), _first(_SAID_MOST, texts)
        for what, wrong in (
            (
                f"it lies {lies.text} below, nearer than the {least.text} that dips keep",
                lies.value < least.value - least.open_by - lies.open_by,
            ),
            (
                f"the least that dips keep is {least.text}, the most {most.text}",
                least.value > most.value + open_by,
            ),
            (
                f"no caution says that it lies past the {most.text} that are allowed",
                late is None and over > open_by,
            ),
            (
                f"it is said to be late, at {lies.text} of {most.text} that are allowed",
                late is not None and abs(over - late.value) > open_by + late.open_by,
            ),
            (
                f"its reason says {said.text if said else ''}",
                said is not None and abs(said.value - lies.value) > said.open_by + lies.open_by,
            ),
            (
                f"its reason allows {said_most.text if said_most else ''}",
                said_most is not None
                and abs(said_most.value - most.value) > said_most.open_by + most.open_by,
            ),
        ):
            if wrong:
                yield Contradiction(RULE, at(site), f"it lies {lies.text} down its road", what)


def _first(pattern: re.Pattern[str], texts: tuple[str, ...]) -> Figure | None:
    return next((figure for text in texts for figure in found(pattern, text)), None)
