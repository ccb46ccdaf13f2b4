"""What a public function raises by itself stands in its docstring."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("terrain", "siting", "cli")
_RAISES = re.compile(r"^Raises\n-+\n(.*?)(?:\n\n\S|\Z)", re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def trees() -> dict[str, ast.Module]:
    return {
        path.relative_to(ROOT).as_posix(): ast.parse(path.read_text(encoding="utf-8"))
        for package in PACKAGES
        for path in sorted((ROOT / package).rglob("*.py"))
    }


@pytest.fixture(scope="module")
def own_errors(trees: dict[str, ast.Module]) -> set[str]:
    """Names of this project's error classes: the root and all that stand on it."""
    bases = {
        node.name: {base.id for base in node.bases if isinstance(base, ast.Name)}
        for tree in trees.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
    }
    found = {"GullywalkError"}
    while more := {name for name, of in bases.items() if of & found} - found:
        found |= more
    return found


def raised_in(function: ast.FunctionDef) -> set[str]:
    """Names of what a function's own body raises, without functions inside it."""
    found: set[str] = set()
    todo: list[ast.AST] = list(function.body)
    while todo:
        node = todo.pop()
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Lambda):
            continue
        if (
            isinstance(node, ast.Raise)
            and isinstance(node.exc, ast.Call)
            and isinstance(node.exc.func, ast.Name)
        ):
            found.add(node.exc.func.id)
        todo += ast.iter_child_nodes(node)
    return found


def public(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef, str]]:
    """Name, function and docstring; the making of a class is told in the docstring of the class."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node.name, node, ast.get_docstring(node) or ""
        if not isinstance(node, ast.ClassDef) or node.name.startswith("_"):
            continue
        for method in node.body:
            if not isinstance(method, ast.FunctionDef):
                continue
            if method.name in ("__init__", "__post_init__"):
                yield node.name, method, ast.get_docstring(node) or ""
            elif not method.name.startswith("_"):
                yield f"{node.name}.{method.name}", method, ast.get_docstring(method) or ""


def untold(trees: dict[str, ast.Module], errors: set[str]) -> Iterator[tuple[str, str, set[str]]]:
    for path, tree in trees.items():
        if path.startswith("cli/") or "/_kernels/" in path:
            continue
        for name, function, doc in public(tree):
            told = _RAISES.search(doc)
            words = set(re.findall(r"\w+", told.group(1))) if told else set()
            if lacks := (raised_in(function) & errors) - words:
                yield path, name, lacks


def test_what_is_raised_is_told(trees: dict[str, ast.Module], own_errors: set[str]) -> None:
    lacks = [
        f"{path}: {name} raises {', '.join(sorted(errors))} and does not say so"
        for path, name, errors in untold(trees, own_errors)
    ]
    assert not lacks, "\n".join(lacks)


def test_the_check_sees_what_it_should(own_errors: set[str]) -> None:
    assert {"ParameterError", "CrsError", "FloodInputError", "WalkError"} <= own_errors
    source = (
        "def told():\n    'Do it.\\n\\nRaises\\n------\\nCrsError\\n    None.'\n"
        "    raise CrsError('x')\n"
        "def untold():\n    'Do it.'\n    if True:\n        raise CrsError('x')\n"
    )
    found = list(untold({"terrain/x.py": ast.parse(source)}, own_errors))
    assert found == [("terrain/x.py", "untold", {"CrsError"})]


#: Rooms whose public functions and values of arrays say their shapes.
SHAPED = ("terrain/", "siting/floods/", "siting/walking/")
_ARRAY = re.compile(r"\b(?:NDArray|FloatArray|IntArray|BoolArray|ArrayLike)\b")
_SHAPE = re.compile(r"\bshape\b|\bbroadcast\b|``\(\w+( \+ 1)?,")


def annotations_of(node: ast.FunctionDef | ast.ClassDef) -> str:
    """Types of what a function takes and gives, or of the fields of a class."""
    if isinstance(node, ast.ClassDef):
        return " ".join(
            ast.unparse(a.annotation) for a in node.body if isinstance(a, ast.AnnAssign)
        )
    arguments = (*node.args.args, *node.args.kwonlyargs)
    said = [a.annotation for a in arguments if a.annotation is not None]
    return " ".join(ast.unparse(a) for a in (*said, *filter(None, [node.returns])))


def test_functions_of_arrays_give_shapes(trees: dict[str, ast.Module]) -> None:
    lacks, seen = [], 0
    for path, tree in trees.items():
        if not path.startswith(SHAPED) or "/_kernels/" in path:
            continue
        for node in tree.body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
                continue
            if _ARRAY.search(annotations_of(node)):
                seen += 1
                if not _SHAPE.search(ast.get_docstring(node) or ""):
                    lacks.append(f"{path}: {node.name}")
    assert seen > 80
    assert not lacks, "\n".join(lacks)
