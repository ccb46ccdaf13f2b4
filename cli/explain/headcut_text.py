"""What a plan knows of a headcut that is no site."""

from __future__ import annotations

import json
import math
import textwrap

from cli.plan.explanation import Record
from cli.plan.fields import HEADCUT_ANSWERS, Units
from cli.plan.plan_numbers import amount
from cli.plan.ranked_list import WIDTH, significant


def headcut_text(headcut: Record, *, units: Units) -> str:
    """Say what was found, and why nothing is planned there."""

    def told(name: str) -> str:
        return amount("headcuts", name, float(headcut[name]), units)

    meaning = dict(HEADCUT_ANSWERS).get(str(headcut["answer"]), "The plan does not say why")
    paragraphs = [
        f"Headcut {headcut['headcut_id']}, no site: {meaning[0].lower()}{meaning[1:]}.",
        f"Channel {headcut['channel_id']} at {told('station_m')} above its lower end, longitude "
        f"{headcut['lon']:.5f}, latitude {headcut['lat']:.5f}. Confidence "
        f"{headcut['confidence']:.2f}.",
        f"Why none: {headcut['why_no_site'] or 'The plan does not say why.'}",
        f"What was found: a drop of {told('headcut_height_m')} with a face of "
        f"{significant(100 * headcut['face_slope'])} %; {told('drainage_area_ha')} drain over it. "
        f"{headcut['evidence'] or ''}",
    ]
    lines = [line for text in paragraphs for line in textwrap.wrap(text, WIDTH)]
    return "\n".join(lines) + "\n"


def headcut_json(headcut: Record, *, units: Units) -> str:
    """Fields of the headcut as JSON; numbers are SI."""
    fields = {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in headcut.items()
    }
    data = {"units": units, "headcut": fields}
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
