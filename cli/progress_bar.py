"""What a run says while it works: remarks and a bar on stderr, never on stdout."""

from __future__ import annotations

import os
import sys
import textwrap
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bar

import terrain
from terrain.values.progress import Progress

WIDTH = 100

#: Compiling all kernels on a cold first run, s (see tests/benchmarks/RESULTS.md).
COMPILING_S = 45
#: Kernels without which nothing runs.
_THEMES = ("directions", "carve", "accumulate")


@dataclass(slots=True)
class Talk:
    """How much a run says; one for each run of the command.

    Parameters
    ----------
    verbosity
        -1 errors only, 0 what a person should know, 1 everything and full tracebacks.
    """

    verbosity: int = 0
    _console: Console | None = field(default=None, repr=False)

    def say(self, text: str) -> None:
        """Print a remark, wrapped, unless the run is to be quiet."""
        if self.verbosity >= 0:
            self._print(text)

    def detail(self, text: str) -> None:
        """Print a remark only when much is asked for."""
        if self.verbosity >= 1:
            self._print(text)

    def notes(self, texts: Iterable[str]) -> None:
        """Print remarks, one paragraph each."""
        for text in texts:
            self.say(text)

    def _print(self, text: str) -> None:
        for line in textwrap.wrap(
            text, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
        ):
            print(line, file=sys.stderr)

    @contextmanager
    def progress(self) -> Iterator[Progress]:
        """Give a callback that draws a bar on a terminal, or tells each piece of work with -v."""
        if self.verbosity >= 0 and sys.stderr.isatty():
            with _bar() as bar:
                yield _on_bar(bar)
        elif self.verbosity >= 1:
            yield _in_lines(self)
        else:
            yield _nothing


def _nothing(what: str, done: float) -> None:
    """Say nothing."""


def _bar() -> Bar:
    console = Console(file=sys.stderr, highlight=False, emoji=False)
    return Bar(
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=24),
        TaskProgressColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
    )


def _on_bar(bar: Bar) -> Progress:
    task = bar.add_task("starting", total=1.0)

    def show(what: str, done: float) -> None:
        bar.update(task, description=what, completed=min(max(done, 0.0), 1.0))

    return show


def _in_lines(talk: Talk) -> Progress:
    begun = time.monotonic()
    last = ""

    def show(what: str, done: float) -> None:
        nonlocal last
        if what != last:
            last = what
            talk.detail(f"{time.monotonic() - begun:6.1f} s  {what}")

    return show


def kernels_are_cold() -> bool:
    """Tell whether the kernels still have to be compiled, so that the first run can say so."""
    if os.environ.get("NUMBA_DISABLE_JIT", "0") not in ("", "0"):
        return False
    source = Path(terrain.__file__).parent / "_kernels"
    own = os.environ.get("NUMBA_CACHE_DIR")
    indexes = list(Path(own).rglob("*.nbi") if own else source.glob("__pycache__/*.nbi"))
    for theme in _THEMES:
        # An index that is older than its code is not used any more.
        changed = (source / f"{theme}.py").stat().st_mtime
        if not any(
            p.name.startswith(f"{theme}.") and p.stat().st_mtime >= changed for p in indexes
        ):
            return True
    return False


def say_if_cold(talk: Talk) -> None:
    """Say what a first run waits for."""
    if kernels_are_cold():
        talk.say(
            f"First run: the fast parts are compiled once, about {COMPILING_S} s; "
            "later runs start at once."
        )
