"""Every quantity that a sentence tells is written by one function, which rounds it once."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from terrain.values.reader_units import US_WORDS

ROOT = Path(__file__).resolve().parents[2]
_UNIT = re.compile(
    rf" (?:{'|'.join(sorted(map(re.escape, US_WORDS), key=len, reverse=True))})(?![\w/-])"
)
#: Where a figure and its unit are put together, or stand as the file or the settings have them.
OWN = {
    "terrain/values/reader_units.py": "the one place",
    "cli/plan/unit_sentences.py": "turns what a text was written with",
    "siting/places/flood_paths.py": "a constant of the method, turned like any printed figure",
    "terrain/values/grid.py": "how two files differ, as the files have it",
    "terrain/values/units.py": "what a file's heights would be if they were metres",
    "cli/waypoints/walk_words.py": "walks are told in whole metres and feet, straight from SI",
}


def _parents(tree: ast.AST) -> dict[ast.AST, ast.AST]:
    return {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}


def _is_error(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether a text belongs to an error: it repeats a setting as it was given, in SI."""
    while node in parents:
        node = parents[node]
        if isinstance(node, ast.Raise):
            return True
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func)
            if name.endswith("Error"):
                return True
    return False


def handwritten(source: str) -> Iterator[tuple[int, str]]:
    """Lines in which a value is formatted and a unit written behind it."""
    tree = ast.parse(source)
    parents = _parents(tree)
    for node in ast.walk(tree):
        if not isinstance(node, ast.JoinedStr) or _is_error(node, parents):
            continue
        for value, after in zip(node.values, node.values[1:], strict=False):
            if not isinstance(value, ast.FormattedValue) or not isinstance(after, ast.Constant):
                continue
            if _UNIT.match(str(after.value)):
                yield value.lineno, ast.unparse(node)


@pytest.mark.parametrize("package", ["terrain", "siting", "cli"])
def test_no_figure_is_put_together_with_its_unit_by_hand(package: str) -> None:
    found = []
    for path in sorted((ROOT / package).rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        if name not in OWN:
            found += [f"{name}:{n}: {text}" for n, text in handwritten(path.read_text("utf-8"))]
    assert not found, "write them by quantity(), metres() or hectares():\n" + "\n".join(found)


def test_the_check_finds_what_it_looks_for() -> None:
    assert [n for n, _ in handwritten('a = f"{x:.2f} m deep"\nb = f"{x} men"')] == [1]
    assert not list(handwritten('raise ValueError(f"{x:g} m")'))
