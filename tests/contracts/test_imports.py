"""Imports run one way, and each library is met only where it has its place."""

from __future__ import annotations

import ast
import functools
from collections.abc import Iterator
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("terrain", "siting", "cli")

#: Where GDAL's rasters are opened, written, or made from shapes.
RASTERIO = {
    "terrain.vectors.boundary",
    "terrain.vectors.burning",
    "terrain.incision.cell_outlines",
    "terrain.reading.opening",
    "terrain.reading.sampling",
    "terrain.reading.rectangles",
    "terrain.reading.writing",
}
#: Where frames are built, or vector files read and written.
FRAMES_IN_LIBRARY = {
    "terrain.vectors.boundary",
    "terrain.vectors.features",
    "terrain.vectors.patches",
    "terrain.vectors.vector_files",
}

#: The rooms of each package in their order: one imports only from those listed before it, and from
#: itself. A module that lies beside the rooms is a room of its own.
ROOMS = {
    "terrain": ("_kernels", "values", "reading", "vectors", "flow", "channels", "incision"),
    "siting": (
        "values",
        "hydraulics",
        "floods",
        "channels",
        "places",
        "structures",
        "layout",
        "site",
        "sites",
        "effects",
        "works",
        "record",
        "audit",
        "revising",
        "walking",
        "inspection",
        "screen_settings",
        "screening",
        "steps",
    ),
    "cli": (
        "palette",
        "remedies",
        "file_errors",
        "plan",
        "progress_bar",
        "options",
        "given",
        "figures",
        "explain",
        "flood",
        "packet",
        "page",
        "waypoints",
        "revise",
        "raster_report",
        "commands",
        "steps_page",
        "main",
        "__main__",
    ),
}
#: Names of modules that stand for more than one thing, each with the reason why it may.
TWICE = {
    "__init__": "what a folder is for",
    "__main__": "how Python runs a package",
}


def modules(package: str) -> Iterator[tuple[str, Path]]:
    for path in sorted((ROOT / package).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        yield ".".join(p for p in parts if p != "__init__"), path


@functools.cache
def imported(path: Path) -> frozenset[str]:
    """Top-level names of everything a file imports, wherever in it, type checking included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            found.add(node.module.split(".")[0])
    return frozenset(found)


def users(*libraries: str) -> set[str]:
    return {
        name
        for package in PACKAGES
        for name, path in modules(package)
        if imported(path) & set(libraries)
    }


@pytest.fixture(scope="module")
def graph() -> grimp.ImportGraph:
    return grimp.build_graph(*PACKAGES, cache_dir=None)


@pytest.mark.parametrize(
    ("lower", "upper"), [("terrain", "siting"), ("terrain", "cli"), ("siting", "cli")]
)
def test_no_import_runs_up(graph: grimp.ImportGraph, lower: str, upper: str) -> None:
    chains = graph.find_shortest_chains(lower, upper)
    assert not chains, f"{lower} reaches {upper}: {sorted(map(' -> '.join, chains))}"


@pytest.mark.parametrize("package", PACKAGES)
def test_rooms_stand_on_those_before_them(graph: grimp.ImportGraph, package: str) -> None:
    rooms = ROOMS[package]
    back = []
    for module in sorted(graph.find_descendants(package)):
        room = module.split(".")[1]
        assert room in rooms, f"{module} lies in no room that `ROOMS` lists"
        for other in sorted(graph.find_modules_directly_imported_by(module)):
            there = other.split(".")
            if there[0] != package or len(there) == 1:
                continue
            if rooms.index(there[1]) > rooms.index(room):
                back.append(f"{module} -> {other}")
    assert not back, "\n".join(back)


def test_a_name_stands_for_one_thing() -> None:
    """Kernels are named after what calls them, commands after what a person types."""
    where: dict[str, list[str]] = {}
    for package in PACKAGES:
        for name, path in modules(package):
            if "_kernels" not in name and not name.startswith("cli.commands."):
                where.setdefault(path.stem, []).append(name)
    twice = {stem: names for stem, names in where.items() if len(names) > 1 and stem not in TWICE}
    assert not twice, twice


def test_imports_run_in_no_circle(graph: grimp.ImportGraph) -> None:
    for module in sorted(graph.modules):
        back = [
            other
            for other in graph.find_modules_directly_imported_by(module)
            if graph.chain_exists(importer=other, imported=module)
        ]
        assert not back, f"{module} and {back} import each other"


def test_kernels_know_only_numpy_and_numba() -> None:
    standard = {"__future__", "os", "tempfile", "collections", "pathlib", "typing", "math"}
    for name, path in modules("terrain/_kernels"):
        others = imported(path) - standard - {"numpy", "numba", "terrain"}
        assert not others, f"{name} imports {others}"
        if not name.endswith("_jit"):
            assert "numba" not in imported(path), f"{name} should take numba through _jit"


def test_kernels_stand_on_kernels_only(graph: grimp.ImportGraph) -> None:
    kernels = graph.find_descendants("terrain._kernels") | {"terrain._kernels"}
    for module in sorted(kernels):
        below = graph.find_modules_directly_imported_by(module)
        assert below <= kernels, f"{module} imports {sorted(below - kernels)}"


def test_the_command_does_not_reach_down_to_kernels(graph: grimp.ImportGraph) -> None:
    for kernel in sorted(graph.find_descendants("terrain._kernels")):
        importers = graph.find_modules_that_directly_import(kernel)
        assert not [m for m in importers if m.startswith("cli")], f"{kernel}: {sorted(importers)}"


def test_numba_is_met_in_one_place() -> None:
    assert users("numba") <= {"terrain._kernels._jit"}


def test_rasters_are_opened_in_few_places() -> None:
    assert {u for u in users("rasterio") if not u.startswith("cli.")} <= RASTERIO


def test_frames_are_built_at_the_edge() -> None:
    met = users("geopandas", "pyogrio", "pandas")
    assert {u for u in met if not u.startswith("cli.")} <= FRAMES_IN_LIBRARY


def test_only_the_command_knows_how_it_is_shown() -> None:
    met = users("click", "rich", "matplotlib")
    assert all(u.startswith("cli.") or u == "cli" for u in met), sorted(met)


def test_other_flow_libraries_are_met_in_their_engine_only() -> None:
    assert users("pysheds") <= {"terrain.flow.engines_pysheds"}
    assert users("pyflwdir") == set()


def test_nothing_that_is_shipped_imports_tests_or_the_sample() -> None:
    assert users("tests", "sample_dem", "pytest", "hypothesis") == set()
