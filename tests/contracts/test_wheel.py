"""What a wheel holds: the three packages and nothing else at its top."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("terrain", "siting", "cli")


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Build the wheel from a copy-free source tree and list what it holds."""
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out)]
    done = subprocess.run([*command, str(ROOT)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    (wheel,) = out.glob("*.whl")
    assert wheel.name.startswith("gullywalk-")
    assert wheel.name.endswith("-py3-none-any.whl")
    with zipfile.ZipFile(wheel) as archive:
        return archive.namelist()


def test_only_the_three_packages_lie_at_the_top(names: list[str]) -> None:
    top = {name.split("/")[0] for name in names}
    (info,) = {t for t in top if t.endswith(".dist-info")}
    assert top == {*PACKAGES, info}


def test_all_that_the_packages_need_is_in_it(names: list[str]) -> None:
    for package in PACKAGES:
        held = [
            path.relative_to(ROOT).as_posix()
            for path in (ROOT / package).rglob("*")
            if path.suffix in {".py", ".toml", ".typed", ".typ"} and "__pycache__" not in path.parts
        ]
        assert held
        assert set(held) <= set(names)


def test_no_compiled_leftovers(names: list[str]) -> None:
    assert not [n for n in names if n.endswith((".pyc", ".nbi", ".nbc")) or "__pycache__" in n]


def test_entry_points_name_things_that_are_in_it(names: list[str]) -> None:
    """Every one of our own, as pyproject.toml declares them."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    values = [v for group in project["entry-points"].values() for v in group.values()]
    for value in [*values, *project["scripts"].values()]:
        module = value.split(":")[0].replace(".", "/")
        assert f"{module}.py" in names or f"{module}/__init__.py" in names
