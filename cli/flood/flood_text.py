"""The sheet of floods as text of 100 columns and as JSON."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from cli.flood.flood_sheet import FloodSheet
from cli.plan.explanation import known
from cli.plan.fields import (
    ACRE_M2,
    CFS_M3S,
    FOOT_M,
    RETURN_PERIODS,
    Units,
    convert_columns,
    fields_of,
)
from cli.plan.range_words import range_words
from cli.plan.ranked_list import WIDTH, significant
from cli.plan.unit_sentences import in_units
from siting.floods.flood_errors import FloodInputError
from terrain.values.reader_units import quantity

_NAME_WIDTH, _FLOW_WIDTH = 18, 12
#: Cubic metres in an acre-foot.
ACRE_FT_M3 = ACRE_M2 * FOOT_M
_LIMITS = {True: "yes", False: "no"}


def sheet_text(sheet: FloodSheet, *, units: Units, return_period_yr: int) -> str:
    """Write the sheet as plain text of 100 columns."""
    flow = "cfs" if units == "us" else "m3/s"
    lines = [*_wrapped(sheet.title), *_input_lines(sheet, units), ""]
    head = "".join(f"{f'{t} years':>{_FLOW_WIDTH}}" for t in RETURN_PERIODS)
    lines += [f"{f'Peak flow, {flow}':<{_NAME_WIDTH}}{head}  limits", "-" * WIDTH]
    for name in sheet.methods:
        rows = [_converted(sheet.row(name, t), units) for t in RETURN_PERIODS]
        unit = "cfs" if units == "us" else "m3s"
        mark = "* " if name == sheet.used else "  "
        likely = [significant(float(r[f"q_{unit}"])) for r in rows]
        spread = [_spread(float(r[f"low_{unit}"]), float(r[f"high_{unit}"])) for r in rows]
        lines.append(_row(f"{mark}{name}", likely, _limits(rows)))
        if any(spread):
            lines.append(_row("    low to high", spread, ""))
        storms = [_spread(float(r[f"dry_{unit}"]), float(r[f"wet_{unit}"])) for r in rows]
        if any(storms):
            lines.append(_row("    dry to wet", storms, ""))
    lines.append("")
    if sheet.used:
        lines += _wrapped(f"* used here: {sheet.used}, for all return periods.")
        lines += _range_lines(sheet, units, return_period_yr)
    lines += _wrapped(
        "limits: whether the published limits of the method hold: for every return period, for "
        "some, or for none; what does not hold stands below."
    )
    for name in sheet.methods:
        lines += ["", *_method_lines(sheet, name, units)]
    lines += ["", *_hydrograph_lines(sheet, units, return_period_yr)]
    for caution in sheet.cautions:
        lines += _wrapped(f"Caution: {in_units(caution, units)}")
    return "\n".join(lines) + "\n"


def sheet_json(sheet: FloodSheet, *, units: Units, return_period_yr: int) -> str:
    """Write the sheet as JSON, with the field names of the plan."""
    kinds = {f.name_in(units): f.kind for f in fields_of("floods")}
    methods = []
    for name in sheet.methods:
        rows = [_converted(sheet.row(name, t), units) for t in RETURN_PERIODS]
        wanted = [k for k in rows[0] if k not in ("site_id", "method", "source", "used")]
        methods.append(
            {
                "method": name,
                "used": name == sheet.used,
                "source": rows[0]["source"],
                "flows": [{k: _plain(r[k], kinds[k]) for k in wanted} for r in rows],
            }
        )
    input_kinds = {f.name_in(units): f.kind for f in fields_of("flood_inputs")}
    inputs = convert_columns(
        "flood_inputs", {k: np.array([v]) for k, v in sheet.inputs.items()}, units
    )
    document: dict[str, Any] = {
        "units": units,
        "place": sheet.title,
        "inputs": {k: _plain(v[0], input_kinds[k]) for k, v in inputs.items() if k != "site_id"},
        "rainfall": None if sheet.rainfall is None else sheet.rainfall.source,
        "methods": methods,
        "hydrograph": None,
        "cautions": list(sheet.cautions),
    }
    try:
        flood = sheet.hydrograph(return_period_yr)
    except FloodInputError:
        flood = None
    if flood is not None:
        factor = 1.0 if units == "si" else 1.0 / CFS_M3S
        name, per = ("volume_m3", 1.0) if units == "si" else ("volume_acre_ft", ACRE_FT_M3)
        document["hydrograph"] = {
            "return_period_yr": return_period_yr,
            "time_h": [round(float(t), 4) for t in flood.time_h],
            f"flow_{'cfs' if units == 'us' else 'm3s'}": [
                round(float(q) * factor, 5) for q in flood.flow_m3s
            ],
            name: round(flood.volume_m3 / per, 3),
        }
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _input_lines(sheet: FloodSheet, units: Units) -> list[str]:
    i = sheet.inputs
    area = _told(i["drainage_area_ha"], "ha", units, 3)
    complete = "complete" if i["area_complete"] else "a minimum: the raster does not hold all of it"
    texts = [
        f"Drainage area {area} ({complete}); curve number {_number(i['curve_number'], 3)}; mean "
        f"slope {_number(100 * float(i['mean_slope']))} %; longest flow path "
        f"{_told(i['flow_path_m'], 'm', units, 3)}, falling "
        f"{_number(100 * float(i['path_slope']))} %.",
        f"Time of concentration {_number(i['tc_h'])} hours by {i['tc_method']}.",
    ]
    if math.isfinite(float(i["tc_sheet_h"])):
        texts[1] += (
            f" Sheet {_number(i['tc_sheet_h'])}, shallow {_number(i['tc_shallow_h'])}, channel "
            f"{_number(i['tc_channel_h'])} hours; the channel runs bankfull with a hydraulic "
            f"radius of {_told(i['hydraulic_radius_m'], 'm', units)} "
            f"({_radius_words(i['radius_source'])})."
        )
    texts.append(
        f"For comparison: NRCS lag equation {_number(i['tc_lag_h'])}, Kirpich "
        f"{_number(i['tc_kirpich_h'])} hours."
    )
    more = [f"storm type {i['storm_type']}"]
    if float(i["pond_percent"]) > 0:
        more.append(f"ponds {_number(i['pond_percent'])} %")
    more.append(f"coefficient C of the rational method {_number(i['runoff_coefficient'])}")
    if i["regions"]:
        more.append(f"regions {i['regions']}")
    if math.isfinite(float(i["mean_elevation_m"])):
        more.append(f"mean elevation {_told(i['mean_elevation_m'], 'm', units, 4)}")
    texts.append(f"Also given: {', '.join(more)}.")
    flagged = "" if i["curve_in_range"] else ", outside the areas it was fitted to: measure on site"
    texts.append(
        f"Bankfull by the regional curve ({i['bankfull_division']}; Bieger and others 2015, table "
        f"3{flagged}): {_told(i['curve_width_m'], 'm', units)} wide, "
        f"{_told(i['curve_depth_m'], 'm', units)} deep, {_told(i['curve_area_m2'], 'm2', units)}."
    )
    lines = [line for text in texts for line in _wrapped(in_units(text, units))]
    if sheet.rainfall is not None:
        rain = sheet.rainfall
        depths = [
            f"{_told(rain.depth_mm(24.0, t), 'mm', units, 3)} once in {t} years"
            for t in (2, 10, 100)
            if rain.covers(duration_h=24.0, return_period_yr=float(t))
        ]
        text = f"Rain in 24 hours: {', '.join(depths) or 'not given'} ({rain.source})."
        volume = float(i["runoff10_m3"])
        if math.isfinite(volume):
            text += (
                f" Of the 10-year rain {volume_text(volume, units)} run off, summed cell by cell."
            )
        lines += _wrapped(text)
    return lines


def _radius_words(source: object) -> str:
    if source == "dem":
        return "bed width from the elevations, depth from the regional curve"
    return "from the regional curve"


def _range_lines(sheet: FloodSheet, units: Units, return_period_yr: int) -> list[str]:
    """Range of the flow used, what it rests on, and what the line of storms means."""
    row = sheet.row(sheet.used, return_period_yr)
    lines = []
    if within := range_words(row, units):
        rests_on = f"; it rests on: {row['range_from']}" if row["range_from"] else ""
        lines += _wrapped(f"Range of the {return_period_yr}-year flow: {within}{rests_on}.")
    if known(row["dry_m3s"]):
        lines += _wrapped(
            "dry to wet: the same rain after dry and after wet days, antecedent runoff conditions "
            "I and III (NEH part 630 chapter 10), about the 10 and 90 % bounds of single storms: "
            "beside the range, no part of it."
        )
    return lines


def _method_lines(sheet: FloodSheet, name: str, units: Units) -> list[str]:
    """Source and remarks of one method, each remark once with its return periods."""
    rows = {t: sheet.row(name, t) for t in RETURN_PERIODS}
    notes: dict[str, list[int]] = {}
    for period, row in rows.items():
        if row["note"]:
            notes.setdefault(str(row["note"]), []).append(period)
    lines = _wrapped(in_units(f"{name}: {rows[RETURN_PERIODS[0]]['source']}.", units))
    for note, periods in notes.items():
        every = len(periods) == len(rows)
        which = "" if every else f"{', '.join(map(str, periods))} years: "
        lines += _wrapped(in_units(which + note, units), indent="  ")
    return lines


def _hydrograph_lines(sheet: FloodSheet, units: Units, return_period_yr: int) -> list[str]:
    try:
        flood = sheet.hydrograph(return_period_yr)
    except FloodInputError as error:
        return _wrapped(f"{error.found[0].upper()}{error.found[1:]}.")
    at = float(flood.time_h[int(np.argmax(flood.flow_m3s))])
    text = (
        f"Hydrograph of the {return_period_yr}-year flood: "
        f"{_told(flood.peak_m3s, 'm3/s', units)} at {at:.1f} hours into a balanced 24-hour storm "
        f"of {_told(flood.rain_mm.sum(), 'mm', units, 3)}, of which "
        f"{_told(flood.runoff_mm.sum(), 'mm', units)} run off"
    )
    return _wrapped(f"{text}: {volume_text(flood.volume_m3, units)}.")


def volume_text(volume_m3: float, units: Units) -> str:
    """Write a volume of water: cubic metres or acre-feet."""
    if units == "us":
        return f"{significant(volume_m3 / ACRE_FT_M3)} acre-feet"
    return quantity(volume_m3, "m3", units=units)


def _limits(rows: Sequence[Mapping[str, Any]]) -> str:
    unit = "q_m3s" if "q_m3s" in rows[0] else "q_cfs"
    held = {bool(r["limits_met"]) for r in rows if math.isfinite(float(r[unit]))}
    if not held:
        return "-"
    return _LIMITS[held.pop()] if len(held) == 1 else "in part"


def _row(name: str, cells: Sequence[str], last: str) -> str:
    middle = "".join(f"{cell:>{_FLOW_WIDTH}}" for cell in cells)
    return f"{name:<{_NAME_WIDTH}}{middle}  {last}".rstrip()


def _spread(low: float, high: float) -> str:
    if not math.isfinite(low):
        return ""
    return (
        f"{significant(low)}-{significant(high)}" if math.isfinite(high) else f">{significant(low)}"
    )


def _number(value: Any, digits: int = 2) -> str:
    number = float(value)
    return significant(number, digits) if math.isfinite(number) else "not known"


def _told(value: Any, unit: str, units: Units, digits: int = 2) -> str:
    number = float(value)
    if not math.isfinite(number):
        return "not known"
    return quantity(number, unit, units=units, digits=digits)


def _converted(row: Mapping[str, Any], units: Units) -> dict[str, Any]:
    columns = {
        name: np.array([value], dtype=object if value is None else None)
        for name, value in row.items()
    }
    return {k: v[0] for k, v in convert_columns("floods", columns, units).items()}


def _plain(value: Any, kind: str) -> Any:
    if kind == "float":
        return float(value) if math.isfinite(float(value)) else None
    if kind == "int":
        return int(value)
    if kind == "bool":
        return bool(value)
    return None if value is None else str(value)


def _wrapped(text: str, *, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
