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
from cli.plan.list_files import Listed, layer_records, list_csv, list_json
from cli.plan.ranked_list import ListText, print_ranked_list, significant
from cli.plan.safe_files import write_text
from terrain.values.errors import ParameterError
from tests.example_plan import UTM, example_layers

LAYERS = example_layers()
SITES, WORKS = LAYERS["sites"].columns, LAYERS["works"].columns
FOUND = Listed.of(LAYERS)


def printed(cautions: Sequence[str] = (), files: Sequence[str] = (), **options: Any) -> list[str]:
    stream = io.StringIO()
    text = ListText("6 sites.", cautions=cautions, files=files)
    print_ranked_list(FOUND, text, stream=stream, **options)
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
    assert ranks == ["1", "2", "3", "4", "5"]
    assert any(line.startswith("Not for hands") and "site 6 (55 m3)" in line for line in lines)


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
    assert "holds" in text


def test_a_row_says_what_where_what_it_saves_and_takes() -> None:
    first = next(line for line in printed() if line.startswith("   1"))
    # 100 m3 and 0.1 ha that count as 100 m3, times 0.8 and 0.5: 80 m3
    for part in ("headcut: ", "-110.99200 36.13800", "80 m3", "0.80", "0.50"):
        assert part in first, part
    us = next(line for line in printed(units="us") if line.startswith("   1"))
    assert "100 yd3" in us  # 80 m3 are 104.6 cubic yards


def test_what_is_told_below_a_work_has_its_sites_drop_area_and_flow() -> None:
    text = " ".join(" ".join(line.split()) for line in printed())
    for part in ("drop 0.90 m)", "2.5 ha drain to it", "Q10 0.21 m3/s", "sure 0.90"):
        assert part in text, part
    us = " ".join(" ".join(line.split()) for line in printed(units="us"))
    for part in ("drop 3.0 ft)", "6.2 ac drain to it", "Q10 7.4 cfs"):
        assert part in us, part
    # the fourth by rank: its area is cut by the raster, and it stands at no drop
    all_told = " ".join(" ".join(line.split()) for line in printed(reasons=5))
    for part in ("slope 1.2 %)", "at least 8.2 ha drain", "Q10 at least 0.40 m3/s"):
        assert part in all_told, part


def test_reasons_stand_below_the_first_few() -> None:
    lines = printed(reasons=2)
    reason = "A drop of 1.1 m moves up a valley"
    assert any(reason in line for line in lines)
    assert not any(reason in line for line in printed(reasons=0))


def test_return_period_can_be_chosen() -> None:
    lines = printed(return_period_years=2)
    assert "Q2 0.050 m3/s" in " ".join(" ".join(line.split()) for line in lines)
    with pytest.raises(ParameterError, match="a return period of 7 years; expected 2, 5, 10"):
        printed(return_period_years=7)


def test_a_long_list_says_how_many_more() -> None:
    lines = printed(most=2)
    assert "3 more works are in the plan." in lines
    assert not any(line.startswith("   3") for line in lines)


def test_no_sites_is_said_by_the_summary_alone() -> None:
    stream = io.StringIO()
    empty = Listed(*(empty_layer(n, UTM).columns for n in ("works", "sites", "referred")))
    print_ranked_list(empty, ListText("No sites.", files=["plan.gpkg"]), stream=stream)
    assert stream.getvalue() == "No sites.\nWrote plan.gpkg\n"
    assert json.loads(list_json(empty))["sites"] == []
    assert list_csv(empty).count("\n") == 1


@pytest.mark.parametrize("units", ["si", "us"])
def test_csv_has_works_with_their_sites_below_and_the_referred_last(units: str) -> None:
    rows = list(csv.DictReader(io.StringIO(list_csv(FOUND, units=units))))  # type: ignore[arg-type]
    names = ["row", *schema("works", units)]  # type: ignore[arg-type]
    names += [n for n in schema("sites", units) if n not in names]  # type: ignore[arg-type]
    assert list(rows[0]) == names
    assert [row["row"] for row in rows] == [*["work", "site"] * 5, "site"]
    assert [row["rank"] for row in rows] == [str(r) for r in (1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 0)]
    # of each two rows the site belongs to the work above it
    for work, site in zip(rows[0:10:2], rows[1:10:2], strict=True):
        assert work["work_id"] == site["work_id"]
        assert work["site_ids"] == site["site_id"]
    width = "width_m" if units == "si" else "width_ft"
    assert rows[3]["structure"] == "Rock \"bowl\" 'A'"
    assert rows[7]["structure"] == "وعاء صخري"
    assert rows[7]["area_complete"] == "false"
    assert rows[7][width] == ""
    assert rows[3][width] == {"si": "3.10", "us": "10.17"}[units]
    saved = "saved_m3" if units == "si" else "saved_yd3"
    assert float(rows[0][saved]) == pytest.approx(
        80.0 * (1.0 if units == "si" else 1.30795), rel=1e-3
    )
    assert rows[1][saved] == ""


def test_json_knows_null_from_nothing() -> None:
    document = json.loads(list_json(FOUND, units="us", files=["plan.gpkg"]))
    assert document["units"] == "us"
    assert document["files"] == ["plan.gpkg"]
    fourth = document["sites"][3]
    assert fourth["width_ft"] is None
    assert fourth["area_complete"] is False
    assert fourth["site_id"] == 2
    assert document["sites"][0]["structure"] == ""


def test_records_keep_the_order_of_rank_whatever_the_order_of_rows() -> None:
    turned = {name: values[::-1] for name, values in SITES.items()}
    in_order = layer_records("sites", SITES, "list_place")
    assert layer_records("sites", turned, "list_place") == in_order
    assert np.all(np.diff([r["list_place"] for r in in_order]) == 1)


def test_csv_is_written_whole_and_never_over_another(tmp_path: Path) -> None:
    path = write_text(tmp_path / "list.csv", list_csv(FOUND))
    assert path.read_bytes().decode("utf-8") == list_csv(FOUND)
    with pytest.raises(OutputError, match=r"list\.csv exists already"):
        write_text(path, list_csv(FOUND, units="us"))
    assert path.read_bytes().decode("utf-8") == list_csv(FOUND)
    write_text(path, list_csv(FOUND, units="us"), overwrite=True)
    assert "width_ft" in path.read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["list.csv"]
