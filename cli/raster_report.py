"""What was found out about a raster, as a page of plain text or a document for a machine."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable
from typing import Any

from cli.given.land import WHOLE_UP_TO_CELLS
from cli.plan.field_types import FOOT_M, Units
from cli.plan.ranked_list import significant
from cli.progress_bar import WIDTH
from cli.remedies import in_options
from siting.channels.cell_size import what_cells_show
from siting.inspection import Inspection
from terrain.reading.crs import short_name
from terrain.reading.opening import FileFacts
from terrain.values.memory import size_text
from terrain.values.reader_units import exactly, quantity
from terrain.values.reading_remedies import ReadingRemedy
from terrain.values.units import UNIT_WORDS


def report_document(found: Inspection, units: Units) -> dict[str, Any]:
    """Everything that was found, as plain data for JSON; all sizes SI, sentences in ``units``."""
    grid, place = found.survey.grid, found.survey.place
    can, cannot = what_cells_show(grid.cell_m, length=_length_in(units))
    return {
        "files": tuple(
            _file(facts, source.sha256)
            for facts, source in zip(found.survey.files, found.sources, strict=True)
        ),
        "rows": grid.rows,
        "cols": grid.cols,
        "cell_width_m": grid.cell_width_m,
        "cell_height_m": grid.cell_height_m,
        "crs": "none" if grid.crs is None else short_name(grid.crs),
        "lon": None if place is None else place[0],
        "lat": None if place is None else place[1],
        "vertical_unit": found.survey.vertical_unit,
        "low_m": found.low_m,
        "high_m": found.high_m,
        "known_share": found.known_share,
        "area_ha": found.area_ha,
        "ranch_area_ha": None if found.boundary is None else found.boundary.area_ha,
        "memory_need_bytes": found.need.need_bytes,
        "memory_free_bytes": found.need.free_bytes,
        "memory_fits": found.need.fits,
        "run_s": found.run_s,
        "can_show": can,
        "cannot_show": cannot,
        "notes": found.reading_notes,
        "problems": _problems(found),
        "works": found.works,
    }


def _length_in(units: Units) -> Callable[[float], str]:
    """How lengths are written."""
    return lambda length_m: quantity(length_m, "m", units=units)


def _file(facts: FileFacts, sha256: str) -> dict[str, Any]:
    return {
        "name": facts.name,
        "format": facts.driver,
        "size_bytes": facts.size_bytes,
        "type": facts.dtype,
        "rows": facts.rows,
        "cols": facts.cols,
        "nodata": None if facts.nodata is None or math.isnan(facts.nodata) else facts.nodata,
        "sha256": sha256,
    }


def _problems(found: Inspection) -> tuple[str, ...]:
    """What may go wrong, in the command's words."""
    problems = list(found.survey.problems)
    if not found.need.fits:
        helps = in_options(ReadingRemedy.COARSER_OR_PART)
        problems.append(f"{found.need.sentence}, so a run would be refused: {helps}.")
    if found.boundary is not None and found.survey.grid.size > WHOLE_UP_TO_CELLS:
        problems.append(
            "With the boundary only the part that drains into the ranch is read: memory and time "
            "are then less than said here."
        )
    return tuple(problems)


def report_text(found: Inspection, units: Units) -> str:
    """Write the findings as a page of plain text, 100 columns."""
    report = report_document(found, units)
    lines = [f"{label:<12} {text}" for label, text in _rows(report, units)]
    for heading, name in (
        ("It can show", "can_show"),
        ("It cannot show", "cannot_show"),
        ("What is done with it", "notes"),
        ("What may go wrong", "problems"),
    ):
        if report[name]:
            lines += ["", heading]
            for text in report[name]:
                lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    verdict = "A run can work." if report["works"] else "A run cannot work as it stands."
    return "\n".join([*lines, "", verdict]) + "\n"


def _rows(report: dict[str, Any], units: Units) -> list[tuple[str, str]]:
    """The figures, one line each."""
    unit, metres = ("ft", FOOT_M) if units == "us" else ("m", 1.0)
    width_m, height_m = report["cell_width_m"], report["cell_height_m"]
    cell = exactly(width_m, "m", units=units)
    if abs(width_m - height_m) >= 1e-3 * width_m:
        cell += f" x {exactly(height_m, 'm', units=units)}"
    first = report["files"][0]
    name = first["name"] if len(report["files"]) == 1 else f"{len(report['files'])} tiles"
    nodata = "none declared" if first["nodata"] is None else f"{first['nodata']:g}"
    place = "not known"
    if report["lon"] is not None:
        place = f"longitude {report['lon']:.4f}, latitude {report['lat']:.4f} (middle)"
    known = _area(report["area_ha"], units)
    rows = [
        ("raster", f"{name}, {first['format']}, {first['type']}"),
        ("size", f"{report['rows']:,} x {report['cols']:,} cells of {cell}; {known} known"),
        ("coordinates", report["crs"]),
        ("where", place),
        (
            "heights",
            f"{report['low_m'] / metres:.1f} to {report['high_m'] / metres:.1f} {unit}; in the "
            f"file {UNIT_WORDS[report['vertical_unit']]}",
        ),
        ("no ground", f"{significant(100 * (1 - report['known_share']))} % of cells ({nodata})"),
        (
            "memory",
            f"a run needs about {size_text(report['memory_need_bytes'])}; "
            f"{size_text(report['memory_free_bytes'])} is free",
        ),
        ("time", f"a run takes about {_duration(report['run_s'])} on two cores"),
    ]
    if report["ranch_area_ha"] is not None:
        rows.insert(4, ("ranch", _area(report["ranch_area_ha"], units)))
    return rows


def _area(hectares: float, units: Units) -> str:
    return quantity(hectares, "ha", units=units, digits=3)


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{significant(seconds)} s"
    if seconds < 5400:
        return f"{significant(seconds / 60)} minutes"
    return f"{significant(seconds / 3600)} hours"
