"""Kernels over bands of rows on all cores; results never depend on how many there are."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from typing import TypeVar

Item = TypeVar("Item")
T = TypeVar("T")

#: Rows a band has at least; bands are cut by the grid alone, so that the same input gives the
#: same result on one core and on many.
MIN_BAND_ROWS = 64
BANDS = 16


def band_edges(rows: int) -> list[tuple[int, int]]:
    """Cut rows into bands: the same ones on every machine."""
    height = max(MIN_BAND_ROWS, -(-rows // BANDS))
    return [(start, min(start + height, rows)) for start in range(0, rows, height)]


def workers() -> int:
    """Cores this process may use, at most the number in ``GULLYWALK_WORKERS`` when set."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    wish = os.environ.get("GULLYWALK_WORKERS", "")
    return max(1, min(cores or 1, int(wish)) if wish.isdigit() and int(wish) else cores or 1)


def over_items(work: Callable[[Item], T], items: Sequence[Item]) -> list[T]:
    """Call ``work`` for every item, side by side, and return the results in order."""
    n = min(workers(), len(items))
    if n <= 1:
        return [work(item) for item in items]
    # what holds for the caller, such as the units it tells in, holds for every worker
    context = copy_context()
    with ThreadPoolExecutor(max_workers=n) as pool:
        return list(pool.map(lambda item: context.copy().run(work, item), items))


def over_bands(work: Callable[[int, int], T], rows: int) -> list[T]:
    """Call ``work(row_start, row_stop)`` for every band and return the results in order."""
    return over_items(lambda band: work(*band), band_edges(rows))
