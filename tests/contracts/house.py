"""Count the house: modules, rooms, arrows that run back, and what is large.

Run ``python -m tests.contracts.house [FOLDER]`` on this checkout or on another one. Arrows run back
where a module imports from a room that comes later; a checkout with other rooms is taken in the
order that has fewest of them.
"""

from __future__ import annotations

import ast
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

PACKAGES = ("terrain", "siting", "cli")
LONG_LINES = 60


def sources(root: Path) -> Iterator[tuple[str, Path, ast.Module]]:
    """Every module that is shipped: its dotted name, its file and its tree."""
    for package in PACKAGES:
        for path in sorted((root / package).rglob("*.py")):
            parts = path.relative_to(root).with_suffix("").parts
            name = ".".join(p for p in parts if p != "__init__")
            yield name, path, ast.parse(path.read_text(encoding="utf-8"))


def imports_of(tree: ast.Module, known: set[str]) -> set[str]:
    """Modules of this project that a module imports."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= (whole & known) or {node.module}
    return found & known


def room_of(name: str) -> str:
    """The room that a module lies in: a folder, or the module itself beside the folders."""
    return ".".join(name.split(".")[:2])


def arrows(root: Path) -> Counter[tuple[str, str]]:
    """Imports between rooms of one package, by importing and imported room."""
    every = [(name, tree) for name, _, tree in sources(root)]
    known = {name for name, _ in every}
    out: Counter[tuple[str, str]] = Counter()
    for name, tree in every:
        for other in imports_of(tree, known):
            a, b = room_of(name), room_of(other)
            if a != b and a.split(".")[0] == b.split(".")[0] and "." in a and "." in b:
                out[a, b] += 1
    return out


def fewest_back(between: Counter[tuple[str, str]]) -> Counter[tuple[str, str]]:
    """Arrows that run back in the best order found by moving one room at a time."""
    order = sorted({room for pair in between for room in pair})

    def cost(rooms: list[str]) -> int:
        place = {room: i for i, room in enumerate(rooms)}
        return sum(n for (a, b), n in between.items() if place[b] > place[a])

    best, improved = cost(order), True
    while improved:
        improved = False
        for room in list(order):
            rest = [r for r in order if r != room]
            trials = [[*rest[:i], room, *rest[i:]] for i in range(len(order))]
            trial = min(trials, key=cost)
            if cost(trial) < best:
                order, best, improved = trial, cost(trial), True
    place = {room: i for i, room in enumerate(order)}
    return Counter({(a, b): n for (a, b), n in between.items() if place[b] > place[a]})


def field_counts(root: Path) -> list[tuple[int, str]]:
    """Annotated fields of every class, most first."""
    counts = []
    for name, _, tree in sources(root):
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                fields = [n for n in node.body if isinstance(n, ast.AnnAssign)]
                plain = [f for f in fields if not ast.unparse(f.annotation).startswith("ClassVar")]
                counts.append((len(plain), f"{name}.{node.name}"))
    return sorted(counts, reverse=True)


def long_functions(root: Path) -> list[tuple[int, str]]:
    """Functions over `LONG_LINES` lines, their docstring left out."""
    out = []
    for name, _, tree in sources(root):
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                start = body[0].lineno if body else node.lineno
                lines = (node.end_lineno or start) - start + 1
                if lines > LONG_LINES:
                    out.append((lines, f"{name}.{node.name}"))
    return sorted(out, reverse=True)


def main() -> None:
    """Print the counts of a checkout."""
    root = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[2]
    names = [name for name, path, _ in sources(root) if path.name != "__init__.py"]
    folders = {path.parent for _, path, _ in sources(root)}
    lines = sum(len(path.read_text("utf-8").splitlines()) for _, path, _ in sources(root))
    flat = Counter(name.split(".")[0] for name in names if name.count(".") == 1)
    stems = Counter(name.rsplit(".", 1)[-1] for name in names if "_kernels" not in name)
    between = arrows(root)
    back = fewest_back(between)
    print(f"modules {len(names)}, packages {len(folders)}, lines {lines}")
    print(f"modules that lie flat: {dict(flat)}")
    print(f"names met more than once: {sorted(s for s, n in stems.items() if n > 1)}")
    print(f"arrows between rooms {len(between)}, imports {sum(between.values())}")
    print(f"imports that run back {sum(back.values())}: {sorted(back)}")
    print(
        "largest classes, fields:",
        *(f"{n} {name}" for n, name in field_counts(root)[:8]),
        sep="\n  ",
    )
    print(f"functions over {LONG_LINES} lines:", len(long_functions(root)))
    for n, name in long_functions(root)[:12]:
        print(f"  {n} {name}")


if __name__ == "__main__":
    main()
