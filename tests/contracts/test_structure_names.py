"""No module of `cli` asks for a structure by its name: a type owns its whole self."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from siting.structures.catalogue import RESERVED, structure_types

ROOT = Path(__file__).resolve().parents[2]
#: Names of the types of this package, and of the places where nothing is built.
NAMES = sorted({*structure_types().names, *RESERVED})
#: A file and a name that it may hold, with the reason why; the fewer the better.
MAY: dict[tuple[str, str], str] = {}
#: What `cli` is made of beside modules: the page's scripts, the packet's pages.
TEXTS = (".js", ".html", ".css", ".typ")


def flat(text: str) -> str:
    """Words only: ``one_rock_dam`` and ``One-rock dam`` are one name."""
    return re.sub(r"[\W_]+", " ", text).strip().casefold()


def named(text: str) -> set[str]:
    """Types that a text names; one whose name is a common word only where it is all the text."""
    words = flat(text)
    return {
        name
        for name in NAMES
        if (words == flat(name) if " " not in flat(name) else f" {flat(name)}" in f" {words}")
    }


def constants(source: str) -> Iterator[tuple[int, str]]:
    """Every string of a module, those within f-strings and docstrings too, with its line."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value


def test_no_module_of_cli_names_a_structure_type() -> None:
    found, used = [], set()
    for path in sorted((ROOT / "cli").rglob("*.py")):
        where = path.relative_to(ROOT).as_posix()
        for line, text in constants(path.read_text(encoding="utf-8")):
            for name in named(text):
                if (where, name) in MAY:
                    used.add((where, name))
                else:
                    found.append(f"{where}:{line} names {name!r}")
    assert not found, "\n".join(found)
    assert used == set(MAY), "exceptions that nothing needs any more"


def test_no_script_or_template_of_cli_names_one() -> None:
    files = [p for p in sorted((ROOT / "cli").rglob("*")) if p.suffix in TEXTS]
    assert len(files) > 10
    found = [
        f"{path.relative_to(ROOT)}:{number} names {name!r}"
        for path in files
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        for name in named(line)
    ]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("rolling dip", {"rolling dip"}),
        ("whole.rolling_dip", {"rolling dip"}),
        ("One-Rock Dams stand here", {"one-rock dam"}),
        ("engineer", {"engineer"}),
        ("Ask an engineer first.", set()),
        ("complete the DEM", {"complete the DEM"}),
        ("a broad-crested weir", set()),
        ("mat", set()),
    ],
)
def test_names_are_found_however_they_are_written(text: str, names: set[str]) -> None:
    assert named(text) == names
