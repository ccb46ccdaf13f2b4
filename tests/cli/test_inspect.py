from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import terrain.values.memory
from siting.channels.cell_size import FOUND_OF_TEN, REAL_OF_TEN, what_cells_show
from tests.cli.conftest import box, gully

ROOT = Path(__file__).resolve().parents[2]


def test_it_says_what_the_raster_is(command: Callable, write_dem: Callable) -> None:
    ended = command("inspect", write_dem())
    assert ended.code == 0
    assert ended.err == ""
    text = ended.out
    assert "240 x 160 cells of 1 m" in text
    assert "NAD83 / UTM zone 13N (EPSG:26913)" in text
    assert f"heights      {gully().min():.1f} to {gully().max():.1f} m" in text
    assert "The file does not say the unit of its heights; taken as metres." in text
    assert text.endswith("A run can work.\n")
    assert max(len(line) for line in text.splitlines()) <= 100
    for heading in ("It can show", "It cannot show", "What is done with it"):
        assert f"\n{heading}\n" in text


def test_json_holds_the_same_and_is_stable(command: Callable, write_dem: Callable) -> None:
    path = write_dem()
    document = json.loads(command("inspect", path, "--json").out)
    assert document["rows"] == 240
    assert document["cell_width_m"] == 1.0
    assert document["works"] is True
    assert document["files"][0]["name"] == "dem.tif"
    assert len(document["files"][0]["sha256"]) == 64
    assert document["area_ha"] == pytest.approx(240 * 160 / 1e4)
    assert document["high_m"] == pytest.approx(float(gully().max()), abs=1e-3)
    again = json.loads(command("inspect", path, "--json").out)
    for varying in ("memory_free_bytes",):
        del document[varying], again[varying]
    assert document == again


def test_us_units_speak_of_feet_and_acres(command: Callable, write_dem: Callable) -> None:
    text = command("inspect", write_dem(), "--units", "us").out
    assert "cells of 3.28 ft" in text
    assert "9.49 acres" in text
    assert " m " not in text.split("It can show")[0].replace("needs about", "")


def test_coarse_rasters_are_told_what_they_cannot_show() -> None:
    can, cannot = what_cells_show(10.0)
    assert "Headcuts: none are looked for" in " ".join(cannot)
    assert not any("Headcuts" in text for text in can)
    can, cannot = what_cells_show(1.0)
    assert "from about 3.0 m to 5.0 m" in " ".join(can)
    assert not any("Headcuts" in text for text in cannot)
    can, cannot = what_cells_show(3.0)
    assert any("Headcuts" in text for text in can)
    assert any("Headcuts" in text for text in cannot)


def test_how_many_headcuts_are_found_is_what_was_measured() -> None:
    """The sentence says what the table of accuracy says, both lidar grounds pooled."""
    table = (ROOT / "tests" / "accuracy" / "RESULTS.md").read_text(encoding="utf-8")
    for cell, found, _ in FOUND_OF_TEN:
        row = rf"\| \w+_lidar, cells of {cell:g} m \| (\d+) \| ([\d.]+) \|"
        rows = [(int(n), float(recall)) for n, recall in re.findall(row, table)]
        assert len(rows) == 2
        pooled = sum(n * recall for n, recall in rows) / sum(n for n, _ in rows)
        assert found == pytest.approx(10 * pooled, abs=0.1), cell
    [(recall, precision)] = re.findall(r"\| 0\.50 \| \d+ of 67 \| ([\d.]+) \| ([\d.]+) \|", table)
    assert pytest.approx((10 * float(recall), 10 * float(precision))) == REAL_OF_TEN
    can, _ = what_cells_show(1.0)
    assert "about four of ten headcuts of 0.60 m" in can[-1]
    assert "marked by eye: five and eight" in can[-1]


def test_a_boundary_shows_the_ranch(
    command: Callable, write_dem: Callable, write_boundary: Callable
) -> None:
    ranch = write_boundary(box(20, 200, 120, 20))
    text = command("inspect", write_dem(), "--boundary", ranch).out
    assert "ranch        1.80 ha" in text
    outside = write_boundary(box(9000, 200, 9100, 20), "away.geojson")
    ended = command("inspect", write_dem(), "--boundary", outside)
    assert ended.code == 1
    assert "lies outside the DEM" in ended.line


@pytest.mark.parametrize(
    ("options", "part"),
    [
        ({"z": np.full((50, 50), -9999.0, np.float32), "nodata": -9999.0}, "holds no ground"),
        ({"z": np.full((50, 50), 12.0, np.float32)}, "everywhere"),
        ({"epsg": None}, "no coordinate system"),
        ({"z": gully() / np.float32(0.3048) + 20000}, "look like feet"),
    ],
)
def test_what_could_not_work_ends_with_1(
    command: Callable, write_dem: Callable, options: dict[str, Any], part: str
) -> None:
    ended = command("inspect", write_dem(**options))
    assert ended.code == 1
    assert part in ended.line


def test_too_little_memory_ends_with_1(
    command: Callable, write_dem: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_dem()
    # Enough to read the overview, too little for a run.
    enough = (
        terrain.values.memory.BASE_BYTES + 10 * 240 * 160
    ) / terrain.values.memory.USABLE_SHARE
    monkeypatch.setattr(terrain.values.memory, "free_bytes", lambda: int(enough))
    ended = command("inspect", path)
    assert ended.code == 1
    assert ended.out.endswith("A run cannot work as it stands.\n")
    assert "--boundary" in ended.out


@pytest.mark.real
@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("pozo/pozo_4m.tif", "are exactly 0"),
        ("sagehen/ned10m_nad83.img", "projected to"),
        ("springcreek/SpringCreek_DEM.asc", "--crs"),
        ("misc/whitebox_DEM.tif", "--crs"),
    ],
)
def test_real_rasters(command: Callable, real_dem: Callable, name: str, part: str) -> None:
    ended = command("inspect", real_dem(name))
    assert part in " ".join((ended.out + ended.err).split())
    assert ended.code == (0 if ended.out else 1)


def test_nothing_is_written(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    path = write_dem()
    before = sorted(tmp_path.iterdir())
    command("inspect", path)
    assert sorted(tmp_path.iterdir()) == before
