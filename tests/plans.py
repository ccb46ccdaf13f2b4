"""Plans of the sample ranch that several files of tests read, screened once for all of them.

A plan holds no clock and no folder, so the same arguments give the same bytes whoever asks. Tests
of what `screen` itself writes or says make their own.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from cli.main import run
from terrain.values.reader_units import Units
from tests.golden.cases import SAMPLE, sample
from tests.kept import kept_folder, one_at_a_time

ROOT = Path(__file__).resolve().parents[1]


def _sources() -> list[Path]:
    """What a plan of the sample is made by and from."""
    code = [
        path
        for package in ("terrain", "siting", "cli")
        for path in sorted((ROOT / package).rglob("*"))
        if path.is_file() and path.suffix in (".py", ".toml", ".csv", ".json")
    ]
    given = ("ranch_dem.tif", "ranch.gpkg", "boundary.geojson", "rainfall.csv")
    return [*code, ROOT / "pyproject.toml", *(SAMPLE / name for name in given)]


def sample_plan(target: Path, units: Units = "si") -> Path:
    """Copy the plan of the demo to a file that does not exist yet, and return its path."""
    folder = kept_folder("plans", *_sources())
    kept = folder / f"sample_{units}.gpkg"
    with one_at_a_time(folder):
        if not kept.exists():
            part = kept.with_name(f"part_{kept.name}")
            part.unlink(missing_ok=True)
            given = ("screen", *sample().screen, "--units", units, "--out", str(part), "--quiet")
            assert run(given) == 0
            os.replace(part, kept)
    shutil.copyfile(kept, target)
    return target
