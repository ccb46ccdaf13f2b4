from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cli.file_errors import OutputError
from cli.plan.fields import schema
from cli.plan.layers import empty_layer
from cli.plan.ranked_list import (
    ListText,
    list_csv,
    list_json,
    print_ranked_list,
    significant,
    site_records,
)
from cli.plan.safe_files import write_text
from terrain.values.errors import ParameterError
from tests.example_plan import UTM, example_layers

SITES = example_layers()["sites"].columns


def printed(cautions: Sequence[str] = (), files: Sequence[str] = (), **options: Any) -> list[str]:
    stream = io.StringIO()
    text = ListText("6 sites.", cautions=cautions, files=files)
    print_ranked_list(SITES, text, stream=stream, **options)
    return stream.getvalue().splitlines()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0123, "0.012"),
        (0.996, "1.0"),
        (9.96, "10"),
        (12.34, "12"),
        (1234.0, "1200"),
        (0.0, "0"),
        (-3.456, "-3.5"),
        (float("nan"), "-"),
    ],
)
def test_two_significant_figures(value: float, text: str) -> None:
    assert significant(value) == text


def test_list_in_order_summary_first_cautions_and_files_last() -> None:
    lines = printed(cautions=["Areas are cut."], files=["plan.gpkg", "list.csv"])
    assert lines[0] == "6 sites."
    assert lines[-3:] == ["Caution: Areas are cut.", "Wrote plan.gpkg", "Wrote list.csv"]
    ranks = [line.split()[0] for line in lines if line[:4].strip().isdigit()]
    assert ranks == ["1", "2", "3", "4", "5", "6"]


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("terminal", [False, True])
def test_no_line_is_wider_than_100_columns(units: str, terminal: bool) -> None:
    long = "A sentence that goes on and on about what the raster cannot show. " * 5
    lines = printed(units=units, terminal=terminal, cautions=[long])
    import re

    from rich.text import Text

    for line in lines:
        plain = re.sub(r"\x1b\[[0-9;]*m", "", line)
        assert Text(plain).cell_len <= 100, line


def test_piped_text_has_no_colour_and_a_terminal_has() -> None:
    assert "\x1b" not in "".join(printed(terminal=False))
    assert "\x1b" in "".join(printed(terminal=True))
    assert "\x1b" not in "".join(printed())


def test_a_terminal_cuts_no_cell_short() -> None:
    text = "".join(printed(terminal=True))
    assert "\N{HORIZONTAL ELLIPSIS}" not in text
    assert "sure" in text


def test_a_row_says_what_where_and_how_big() -> None:
    first = next(line for line in printed() if line.startswith("   2"))
    for part in ("Rock \"bowl\" 'A'", "-111.00000 36.13000", "0.90 m", "3.1 m", "2.5 ha"):
        assert part in first
    assert "0.21 m3/s" in first
    us = next(line for line in printed(units="us") if line.startswith("   2"))
    for part in ("3.0 ft", "10 ft", "6.2 ac", "7.4 cfs"):
        assert part in us


def test_slope_where_there_is_no_drop_and_a_minimum_where_the_area_is_cut() -> None:
    spread = next(line for line in printed() if line.startswith("   4"))
    assert "1.2 %" in spread
    assert ">8.2 ha" in spread
    assert ">0.40 m3/s" in spread
    refer = next(line for line in printed() if line.startswith("   6"))
    assert refer.split()[-2] == "-"  # no flow was estimated


def test_reasons_stand_below_the_first_few() -> None:
    lines = printed(reasons=2)
    reason = "           A drop of 1.1 m moves up a valley that is still whole."
    at = lines.index(reason)
    assert lines[at - 1].startswith("   2")
    assert reason not in printed(reasons=0)


def test_return_period_can_be_chosen() -> None:
    lines = printed(return_period_years=2)
    assert " Q2 " in f"{lines[1]} "
    assert "0.050 m3/s" in "\n".join(lines)
    with pytest.raises(ParameterError, match="a return period of 7 years; expected 2, 5, 10"):
        printed(return_period_years=7)


def test_a_long_list_says_how_many_more() -> None:
    lines = printed(most=2)
    assert "4 more sites are in the plan." in lines
    assert not any(line.startswith("   3") for line in lines)


def test_no_sites_is_said_by_the_summary_alone() -> None:
    stream = io.StringIO()
    empty = empty_layer("sites", UTM).columns
    print_ranked_list(empty, ListText("No sites.", files=["plan.gpkg"]), stream=stream)
    assert stream.getvalue() == "No sites.\nWrote plan.gpkg\n"
    assert json.loads(list_json(empty))["sites"] == []
    assert list_csv(empty).count("\n") == 1


@pytest.mark.parametrize("units", ["si", "us"])
def test_csv_has_the_fields_of_the_layer(units: str) -> None:
    rows = list(csv.DictReader(io.StringIO(list_csv(SITES, units=units))))  # type: ignore[arg-type]
    assert list(rows[0]) == list(schema("sites", units))  # type: ignore[arg-type]
    assert [row["rank"] for row in rows] == ["1", "2", "3", "4", "5", "6"]
    assert rows[1]["structure"] == "Rock \"bowl\" 'A'"
    assert rows[3]["structure"] == "وعاء صخري"
    assert rows[3]["area_complete"] == "false"
    assert rows[3]["width_m" if units == "si" else "width_ft"] == ""
    assert (
        rows[1]["width_m" if units == "si" else "width_ft"] == {"si": "3.10", "us": "10.17"}[units]
    )


def test_json_knows_null_from_nothing() -> None:
    document = json.loads(list_json(SITES, units="us", files=["plan.gpkg"]))
    assert document["units"] == "us"
    assert document["files"] == ["plan.gpkg"]
    fourth = document["sites"][3]
    assert fourth["width_ft"] is None
    assert fourth["area_complete"] is False
    assert fourth["site_id"] == 2
    assert document["sites"][0]["structure"] == ""


def test_records_keep_the_order_of_rank_whatever_the_order_of_rows() -> None:
    turned = {name: values[::-1] for name, values in SITES.items()}
    assert site_records(turned) == site_records(SITES)
    assert np.all(np.diff([r["rank"] for r in site_records(SITES)]) == 1)


def test_csv_is_written_whole_and_never_over_another(tmp_path: Path) -> None:
    path = write_text(tmp_path / "list.csv", list_csv(SITES))
    assert path.read_bytes().decode("utf-8") == list_csv(SITES)
    with pytest.raises(OutputError, match=r"list\.csv exists already"):
        write_text(path, list_csv(SITES, units="us"))
    assert path.read_bytes().decode("utf-8") == list_csv(SITES)
    write_text(path, list_csv(SITES, units="us"), overwrite=True)
    assert "width_ft" in path.read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["list.csv"]
