"""What a plan knows of a reach that may be filling again."""

from __future__ import annotations

import json
import textwrap

from cli.explain.explanation_json import records_in
from cli.plan.explanation import Record
from cli.plan.fields import Units
from cli.plan.looks_first import LAYER, mark_of, stage_words, where_words
from cli.plan.ranked_list import WIDTH
from siting.values.wording import first_upper


def look_text(look: Record, *, units: Units) -> str:
    """Say where it lies, what speaks for it, and what to look for."""
    paragraphs = [
        f"{mark_of(look)}, look first: {where_words(look, units)}; its lower end at longitude "
        f"{look['lon']:.5f}, latitude {look['lat']:.5f}.",
        f"{first_upper(stage_words(look))}. It may be filling again, which one raster cannot "
        "prove: no series is proposed there.",
        str(look["evidence"] or "The plan does not say what speaks for it."),
    ]
    lines = [line for text in paragraphs for line in textwrap.wrap(text, WIDTH)]
    return "\n".join(lines) + "\n"


def look_json(look: Record, *, units: Units) -> str:
    """Fields of the reach as JSON, with the field names of the plan."""
    data = {"units": units, "look_first": records_in(LAYER, [look], units)[0]}
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
