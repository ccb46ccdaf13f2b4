"""The page as one text: data, frame, styles and scripts in a single HTML file."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from importlib import resources
from typing import Any

from cli.figures.site_drawings import SiteDrawings
from cli.page import ranch_words, sheet_words
from cli.page.ground_picture import GroundPicture
from cli.page.map_data import Frame, map_data, mark, shapes_in_use
from cli.page.page_drawings import profile_data, section_data
from cli.page.page_texts import Texts, explanations, raised, shortened
from cli.page.site_facts import facts
from cli.page.work_data import sums_data, waiting_by_site, works_data
from cli.palette import LOW_CONFIDENCE
from cli.plan.explanation import Explanation, Record, known
from cli.plan.fields import FOOT_M
from cli.plan.plan_numbers import amount, cost_to_sort_by, cost_words, measure
from cli.plan.plan_reading import PlanFile
from cli.plan.plan_works import BUILT
from cli.plan.structure_looks import looks_of

#: Scripts in the order they are put together; each only knows those before it.
SCRIPTS = (
    "base",
    "view",
    "labels",
    "map",
    "hands",
    "measure",
    "list",
    "notes",
    "sketch",
    "sheet",
    "start",
)
_PARTS = "cli.page.parts"


def page_html(
    plan: PlanFile, *, frame: Frame, picture: GroundPicture | None, title: str | None = None
) -> str:
    """Write a plan as an HTML page that asks nothing of any network.

    Parameters
    ----------
    plan
        The plan.
    frame
        What the map covers.
    picture
        Shaded ground; None leaves the map's paper blank.
    title
        Heading; by default the name of the ranch, or of the plan's file.

    Returns
    -------
    str
        The same plan gives the same text.
    """
    data = page_data(plan, frame=frame, picture=picture, title=title)
    style = _part("page.css")
    script = "(() => {\n'use strict';\n" + "\n".join(_part(f"{n}.js") for n in SCRIPTS) + "})();\n"
    policy = (
        "default-src 'none'; img-src data:; "
        f"style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    filled = {
        "POLICY": html.escape(policy, quote=False),
        "TITLE": html.escape(data["title"]),
        "STYLE": style,
        "SCRIPT": script,
        "DATA": _json(data),
    }
    # In one go: nothing that is filled in can be taken for a place to fill.
    return re.sub(r"\{\{([A-Z]+)\}\}", lambda place: filled[place[1]], _part("page.html"))


def page_data(
    plan: PlanFile, *, frame: Frame, picture: GroundPicture | None, title: str | None = None
) -> dict[str, Any]:
    """Everything that the page shows, as plain numbers and texts; parameters as `page_html`."""
    texts = Texts()
    drawings = SiteDrawings(plan)
    notes = _notes(plan)
    found = explanations(plan)
    shapes = _places(plan, frame)
    sites = [
        _site(one, drawings, texts, notes.get(one.site["site_id"], []), shapes) for one in found
    ]
    waiting = waiting_by_site(plan, texts)
    for one in sites:
        one["waits"] = waiting.get(one["id"])
    works = works_data(plan, texts)
    ranch = [_kept(block, texts) for block in ranch_words.ranch_blocks(plan)]
    whole = str(title or _ranch_name(plan) or plan.path.stem)
    us = plan.units == "us"
    # The list of words is made from all that was written before it.
    words = ranch_words.words_used(texts.all)
    return {
        "title": shortened(whole, 80),
        "wholeTitle": whole,
        "line": ranch_words.one_line(plan),
        "plan": plan.name,
        "unit": "ft" if us else "m",
        "perMetre": 1 / FOOT_M if us else 1,
        "map": map_data(plan, frame, picture),
        "shapes": shapes_in_use(looks_of(plan.layers)),
        "sites": sites,
        "works": works,
        "sums": sums_data(plan),
        # What is not built is in no set; without a budget all others are chosen.
        "budget": any(not one["chosen"] and one["control"] in BUILT for one in sites),
        "ranch": ranch,
        "words": words,
        "texts": texts.all,
    }


def _site(
    found: Explanation,
    drawings: SiteDrawings,
    texts: Texts,
    notes: list[Record],
    places: dict[int, list[float]],
) -> dict[str, Any]:
    site = found.site
    numbers = {
        "drop": _number(site["headcut_height_m"]),
        "area": _number(site["drainage_area_ha"]),
        "flow": _number(site["design_flow_m3s"]),
        "cost": _number(cost_to_sort_by(site)),
        "sure": _number(site["confidence"]),
    }
    words = {
        "drop": measure(found, "headcut_height_m"),
        "area": amount("sites", "drainage_area_ha", site["drainage_area_ha"], found.units),
        "flow": measure(found, "design_flow_m3s"),
        "cost": cost_words(site),
        "sure": f"{site['confidence']:.2f}" if known(site["confidence"]) else "-",
    }
    label = found.look.label or "no name"
    return {
        "id": site["site_id"],
        "rank": site["rank"],
        "place": site["list_place"],
        "what": shortened(label),
        "whole": texts.keep(label),
        "control": site["control"] or "refer",
        "purpose": texts.keep(sheet_words.purpose_of(site["control"])),
        "unsure": not site["confidence"] >= LOW_CONFIDENCE,
        "chosen": bool(site["chosen"]),
        "at": places[site["site_id"]],
        **mark(
            found.looks.symbol(site["control"], site["structure"]),
            float(site["flow_azimuth_deg"]),
        ),
        "lonlat": [_number(site["lon"]), _number(site["lat"])],
        "numbers": numbers,
        "words": {name: raised(text) for name, text in words.items()},
        "why": [texts.keep(s) for s in [site["reason"], site["chosen_why"]] if s],
        "cautions": [texts.keep(s) for s in sheet_words.sentences(site["caution"])],
        "facts": [[texts.keep(part) for part in fact] for fact in facts(found)],
        "mates": [{**m, "text": texts.keep(m["text"])} for m in sheet_words.mates(found)],
        "profile": profile_data(found, drawings),
        "section": section_data(found, drawings),
        "blocks": [_kept(block, texts) for block in sheet_words.blocks(found, notes)],
    }


def _kept(block: sheet_words.Block, texts: Texts) -> sheet_words.Block:
    """Replace every text in a block by its number."""

    def keep(value: Any) -> Any:
        if isinstance(value, list | tuple):
            return [keep(v) for v in value]
        return texts.keep(value) if isinstance(value, str) else value

    if block["kind"] == "checks":
        # The last value of a row is the number of a source, not of a text.
        rows = [[*keep(row[:-1]), row[-1]] for row in block["rows"]]
    else:
        rows = keep(block["rows"])
    kept = {**block, "rows": rows, "title": texts.keep(block["title"])}
    return kept | {name: keep(block[name]) for name in ("head", "notes") if name in block}


def _places(plan: PlanFile, frame: Frame) -> dict[int, list[float]]:
    layer = plan.layers["sites"]
    shapes = layer.geometry if layer.geometry is not None else ()
    ids = layer.columns["site_id"]
    return {int(number): frame.point(s) for number, s in zip(ids, shapes, strict=True)}


def _notes(plan: PlanFile) -> dict[int, list[Record]]:
    """Rows of the field sheet by site; people edit it, so that it is read as it stands."""
    content = plan.unchecked("field_notes")
    names = list(content.columns)
    found: dict[int, list[Record]] = {}
    for values in zip(*(content.columns[n].tolist() for n in names), strict=True):
        row = dict(zip(names, values, strict=True))
        found.setdefault(row.get("site_id", 0), []).append(row)
    return found


def _ranch_name(plan: PlanFile) -> str:
    names = plan.layers["ranch"].columns["name"] if "ranch" in plan.layers else ()
    return next((str(name) for name in names if name), "")


def _number(value: Any) -> float | None:
    return round(float(value), 6) if known(value) else None


def _part(name: str) -> str:
    return (resources.files(_PARTS) / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")


def _json(data: object) -> str:
    """JSON that may stand within a script element, whatever the texts in it are."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text
