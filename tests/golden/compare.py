"""Hold what this version makes against what another commit makes, byte by byte.

Run ``python -m tests.golden.compare COMMIT [--cases sample,pozo_4m] [--keep FOLDER]``. Both
versions run the same commands (`tests.golden.cases`); the other one is built into a wheel and
installed into a folder of its own, with the libraries of this environment. Files are compared as
bytes; GeoPackages table by table: which columns came and went, and all rows of the others. The
record of sites is left out, since its form is not a promise: what is restored from it is compared
through ``gullywalk revise``.

Ends with 1 where anything differs, and says what.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import subprocess
import sys
import tarfile
import tempfile
from collections import Counter
from collections.abc import Iterable, Sequence
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

from tests.golden.cases import ROOT, SEEDS, Case, generated, real, sample

#: Tables whose form may change from version to version.
RECORDS = frozenset({"site_records"})
#: So many differing rows or lines of one table or file are shown.
SHOWN_ROWS = 3


def installed(commit: str, folder: Path) -> Path:
    """Install a commit of this project into a folder, and return that folder."""
    target = folder / "installed"
    if target.exists():
        return target
    source = folder / "source"
    packed = subprocess.run(
        ["git", "archive", commit], cwd=ROOT, capture_output=True, check=True
    ).stdout
    with tarfile.open(fileobj=BytesIO(packed)) as archive:
        archive.extractall(source, filter="data")
    subprocess.run(
        [
            sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check",
            "--no-deps", "--no-build-isolation", "--target", str(target), str(source),
        ],
        check=True,
    )  # fmt: skip
    return target


def run(case: Case, program: Path, out: Path) -> None:
    """Run a case's commands with the program in a folder; what they say is kept beside."""
    if (out / "done").exists():
        return
    out.mkdir(parents=True, exist_ok=True)
    surroundings = {**os.environ, "PYTHONPATH": str(program), "COLUMNS": "100"}
    for number, command in enumerate(case.commands()):
        words = [word.replace("{out}", str(out)) for word in command]
        done = subprocess.run(
            [sys.executable, "-m", "cli", *words],
            cwd=program,
            env=surroundings,
            capture_output=True,
            text=True,
            check=False,
        )
        said = f"exit {done.returncode}\n{done.stdout}\n{done.stderr if done.returncode else ''}"
        said = said.replace(str(out), "OUT").replace(str(program), "PROGRAM")
        (out / f"said_{number:02d}_{command[0]}.txt").write_text(said, encoding="utf-8")
    (out / "done").touch()


class Table(NamedTuple):
    """Columns of a table, and its rows."""

    columns: tuple[str, ...]
    rows: list[tuple[Any, ...]]

    def only(self, columns: Sequence[str]) -> list[tuple[Any, ...]]:
        """Rows of some of its columns."""
        at = [self.columns.index(name) for name in columns]
        return [tuple(row[i] for i in at) for row in self.rows]


def tables_of(path: Path) -> dict[str, Table]:
    """Every table of a GeoPackage, its own system tables and triggers included."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as db:

        def table(query: str) -> Table:
            found = db.execute(query)
            names = tuple(d[0] for d in found.description)
            return Table(names, [tuple(row) for row in found])

        names = [r[0] for r in db.execute("select name from sqlite_master where type = 'table'")]
        found = {
            name: table(f'select * from "{name}"')
            for name in names
            if name not in RECORDS and not name.startswith("rtree_")
        }
        found["sqlite_master"] = table(
            "select type, name, sql from sqlite_master where name not like '%site_records%' "
            "order by 1, 2"
        )
    return found


def table_differences(before: Path, after: Path) -> list[str]:
    """What differs between two GeoPackages: columns, and rows of the columns that both have."""
    one, two = tables_of(before), tables_of(after)
    out = [f"table {name} only before" for name in sorted(one.keys() - two.keys())]
    out += [f"table {name} only after" for name in sorted(two.keys() - one.keys())]
    for name in sorted(one.keys() & two.keys()):
        a, b = one[name], two[name]
        gone = [c for c in a.columns if c not in b.columns]
        new = [c for c in b.columns if c not in a.columns]
        if gone or new:
            out.append(f"table {name}: columns gone {gone}, new {new}")
        both = [c for c in a.columns if c in b.columns]
        out += [f"table {name}: {line}" for line in row_differences(a.only(both), b.only(both))]
    return out


def row_differences(one: list[tuple[Any, ...]], two: list[tuple[Any, ...]]) -> list[str]:
    """Rows that differ: one beside the other, or as two heaps where their numbers differ."""
    if one == two:
        return []
    if len(one) != len(two):
        gone, new = Counter(one) - Counter(two), Counter(two) - Counter(one)
        lines = [f"{len(one)} and {len(two)} rows, {gone.total()} gone and {new.total()} new"]
        lines += [f"    - {str(row)[:140]}" for row in list(gone)[:SHOWN_ROWS]]
        return lines + [f"    + {str(row)[:140]}" for row in list(new)[:SHOWN_ROWS]]
    rows = [i for i, (x, y) in enumerate(zip(one, two, strict=True)) if x != y]
    lines = [f"{len(rows)} of {len(one)} rows differ"]
    for i in rows[:SHOWN_ROWS]:
        pairs = [(x, y) for x, y in zip(one[i], two[i], strict=True) if x != y]
        lines += [f"    row {i}: {str(x)[:110]!r} -> {str(y)[:110]!r}" for x, y in pairs[:4]]
    return lines


def file_differences(before: Path, after: Path) -> list[str]:
    """What differs between the files of one case in two versions."""
    one = {p.name for p in before.iterdir()}
    two = {p.name for p in after.iterdir()}
    out = [f"{name}: only before" for name in sorted(one - two)]
    out += [f"{name}: only after" for name in sorted(two - one)]
    for name in sorted(one & two):
        a, b = before / name, after / name
        if a.read_bytes() == b.read_bytes():
            continue
        if a.suffix == ".gpkg":
            out += [f"{name}: {line}" for line in table_differences(a, b)]
            continue
        out.append(f"{name}: {a.stat().st_size} and {b.stat().st_size} bytes differ")
        if a.suffix in (".txt", ".csv", ".gpx", ".kml"):
            lines = zip(a.read_text().splitlines(), b.read_text().splitlines(), strict=False)
            shown = [(x, y) for x, y in lines if x != y][:SHOWN_ROWS]
            out += [f"    {x[:140]!r} -> {y[:140]!r}" for x, y in shown]
    return out


def chosen(folder: Path, names: Iterable[str]) -> list[Case]:
    """Cases by name; all of them for none."""
    wanted = set(names)
    seeds = [s for s in SEEDS if not wanted or f"ranch_{s}" in wanted]
    every = [sample(), *(generated(folder / "ground", seed) for seed in seeds), *real()]
    return [case for case in every if not wanted or case.name in wanted]


def main() -> int:
    """Compare, print, and say by the exit code whether anything differs."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("commit", help="what to compare with")
    parser.add_argument("--cases", default="", help="some cases, with commas between")
    parser.add_argument("--keep", type=Path, help="keep and use again what is in this folder")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep.resolve() if given.keep else Path(scratch)
        name = subprocess.run(
            ["git", "rev-parse", "--short", given.commit],
            cwd=ROOT, capture_output=True, text=True, check=True,
        ).stdout.strip()  # fmt: skip
        theirs = installed(name, folder / name)
        differing = 0
        with tempfile.TemporaryDirectory() as own:
            for case in chosen(folder, filter(None, given.cases.split(","))):
                before, after = folder / name / case.name, Path(own) / case.name
                run(case, theirs, before)
                run(case, ROOT, after)
                differences = file_differences(before, after)
                differing += bool(differences)
                count = sum(1 for _ in after.iterdir())
                print(f"{case.name}: {len(differences)} differences in {count} files", flush=True)
                for line in differences:
                    print(f"  {line}", flush=True)
    return 1 if differing else 0


if __name__ == "__main__":
    raise SystemExit(main())
