"""What a revised plan holds beside the layers of a plan: all that was given and planned."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from pyproj import CRS

from siting.record.feature_tables import lon_lat, site_table, without
from siting.record.structure_rows import columns_of
from siting.revising.field_rows import SITE, FieldRow, FieldTable
from siting.revising.measured_spots import move_of
from siting.revising.revise import Revised, Worked
from siting.revising.site_measures import FieldSite, SetAside
from siting.values.columns import Columns, FeatureTable, shapes_of, texts_of

POINT = "point"
USED, PARTLY, ASIDE, BLANK = "used", "partly used", "set aside", "blank"
_LENGTHS = ("width_m", "depth_m", "bankfull_depth_m", "drop_m")
_TEXTS = ("soil", "notes", "photos", "measured_by", "measured_on")


def revised_sites(revised: Revised, crs: CRS | None) -> FeatureTable:
    """Sites with what was measured beside what is planned with."""
    now = revised.now
    return site_table(now.sites, crs=crs, more={**now.columns, **_field_columns(revised)})


def _field_columns(revised: Revised) -> Columns:
    sites = _by_row(revised)
    moved = [
        move_of(record, site).distance_m
        for record, site in zip(revised.planned.records, sites, strict=True)
    ]
    return {
        **{f"measured_{name}": _numbers(sites, name) for name in _LENGTHS},
        "measured_slope": _numbers(sites, "slope"),
        "moved_m": np.array([m or math.nan for m in moved]),
        "decision": texts_of([s.decision or None for s in sites]),
        "soil": texts_of([s.soil or None for s in sites]),
        "field_notes": texts_of([s.notes or None for s in sites]),
        **{
            name: texts_of([getattr(s, name) or None for s in sites])
            for name in ("photos", "measured_by", "measured_on")
        },
    }


def _by_row(revised: Revised) -> list[FieldSite]:
    count = revised.planned.sites.count
    return [revised.found.get(i, FieldSite()) for i in range(1, count + 1)]


def _numbers(sites: Sequence[FieldSite], name: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([getattr(s, name) for s in sites], dtype=np.float64)


def note_table(revised: Revised, soils: Sequence[str]) -> FeatureTable:
    """The field sheet as it is known now, to be filled in further.

    Parameters
    ----------
    revised
        The plan.
    soils
        Codes of soils that the sheet knows; another text stays in the sites and the rows given.
    """
    sites = _by_row(revised)
    at = revised.now.sites
    points = [shapely.Point(x, y) for x, y in zip(at.x_m, at.y_m, strict=True)]
    return FeatureTable(
        shapes_of(points),
        {
            SITE: np.arange(1, at.count + 1),
            "decision": texts_of([s.decision or None for s in sites]),
            **{f"measured_{name}": _numbers(sites, name) for name in _LENGTHS},
            "measured_slope": _numbers(sites, "slope"),
            **{
                name: texts_of([getattr(s, name) or None for s in sites])
                for name in _TEXTS
                if name != "soil"
            },
            "soil": texts_of([s.soil if s.soil in soils else None for s in sites]),
        },
    )


def planned_columns(planned: Worked, crs: CRS | None) -> Columns:
    """Rows of the table ``planned``: every site as it was screened."""
    sites, columns = planned.sites, planned.columns
    lon, lat = lon_lat(crs, sites.x_m, sites.y_m)
    return {
        SITE: np.arange(1, sites.count + 1),
        **{n: columns[n] for n in ("rank", "score")},
        "structure": sites.texts(lambda s: s.structure),
        "control": sites.controls,
        "pair_id": sites.whole(lambda s: s.member.group),
        "build_order": columns["build_order"],
        "slope": sites.numbers(lambda s: s.spot.slope),
        "width_m": sites.width_m,
        "depth_m": sites.depth_m,
        "width_source": without(sites.reading.width_source, sites.on_road),
        "bankfull_depth_m": without(sites.reading.bankfull.depth_m, sites.on_road),
        "headcut_height_m": sites.numbers(lambda s: s.spot.drop.height_m),
        "structure_height_m": sites.sized("height_m"),
        "structure_length_m": sites.sized("length_m"),
        **{n: columns[n] for n in ("cost_low", "cost_likely", "cost_high", "crew_days")},
        "lon": lon,
        "lat": lat,
    }


def aside_columns(found: Sequence[SetAside]) -> Columns:
    """Rows of the table ``set_aside``."""
    rows = [
        (a.origin.revision, a.origin.source, a.origin.row, a.site, a.column, a.given, a.kind,
         a.reason)
        for a in found
    ]  # fmt: skip
    names = ("revision", "source", "row", "site", "column", "given", "kind", "reason")
    return columns_of(names, rows)


def row_columns(tables: Sequence[FieldTable], aside: Sequence[SetAside]) -> Columns:
    """Rows of the table ``field_rows``: every row as it was given, with what became of it."""
    refused: dict[tuple[int, int], set[str]] = {}
    for one in aside:
        refused.setdefault((one.origin.revision, one.origin.row), set()).add(one.column)
    rows = []
    for revision, table in enumerate(tables, start=1):
        for row in table.rows:
            site = next((t for n, t in row.texts.items() if n.strip().lower() == SITE), "")
            status = _status(row, refused.get((revision, row.number)))
            given: dict[str, Any] = dict(row.texts)
            if row.point_m is not None:
                given[POINT] = list(row.point_m)
            text = json.dumps(given, ensure_ascii=False)
            rows.append((revision, table.source, row.number, site, status, text))
    return columns_of(("revision", "source", "row", "site", "status", "text"), rows)


def _status(row: FieldRow, refused: set[str] | None) -> str:
    if refused is None:
        return BLANK if row.blank else USED
    given = {name for name in row.texts if name.strip().lower() != SITE}
    return ASIDE if "" in refused or given <= refused else PARTLY


def tables_given(columns: Mapping[str, Sequence[Any]]) -> tuple[FieldTable, ...]:
    """Read the files of earlier revisions again from the table ``field_rows``."""
    by_file: dict[tuple[int, str], list[FieldRow]] = {}
    for revision, source, number, text in zip(
        *(columns[n] for n in ("revision", "source", "row", "text")), strict=True
    ):
        given = json.loads(str(text))
        point = given.pop(POINT, None)
        at = None if point is None else (float(point[0]), float(point[1]))
        by_file.setdefault((int(revision), str(source)), []).append(
            FieldRow(int(number), given, at)
        )
    return tuple(
        FieldTable(
            source,
            tuple(dict.fromkeys([SITE, *(n for row in rows for n in row.texts)])),
            tuple(rows),
        )
        for (_, source), rows in sorted(by_file.items())
    )


def section_columns(planned: Mapping[str, Any], revised: Revised) -> Columns:
    """Rows of the table ``section_points``, those of measured sections in place of the old ones.

    Parameters
    ----------
    planned
        Rows of the plan.
    revised
        The plan.
    """
    changed = [
        i
        for i, (old, new) in enumerate(
            zip(revised.planned.records, revised.now.records, strict=True), start=1
        )
        if old.spot.section is not new.spot.section
    ]
    ids = [int(n) for n in planned[SITE]]
    by_site: dict[int, list[tuple[Any, ...]]] = {}
    for row in zip(*(planned[n] for n in (SITE, "offset_m", "ground_m", "source")), strict=True):
        by_site.setdefault(int(row[0]), []).append(row)
    for i in changed:
        section = revised.now.sites[i - 1].spot.section
        old = by_site.get(i, [])
        bed = min((float(row[2]) for row in old), default=revised.now.sites.elevation_m[i - 1])
        offset = section.offset_m - section.offset_m[section.deepest]
        middle = next((float(r[1]) for r in old if float(r[2]) == bed), 0.0)
        by_site[i] = [
            (i, float(x) + middle, float(h) - section.bed_m + bed, "measured")
            for x, h in zip(offset, section.height_m, strict=True)
        ]
    rows = [row for n in dict.fromkeys([*ids, *changed]) for row in by_site[n]]
    return columns_of((SITE, "offset_m", "ground_m", "source"), rows)
