"""Bands: the same on every machine, in order, covering every row once."""

from __future__ import annotations

import itertools
import threading
import time

import pytest

from terrain.values.parallel import (
    BANDS,
    MIN_BAND_ROWS,
    band_edges,
    over_bands,
    over_items,
    workers,
)


@pytest.mark.parametrize("rows", [1, 63, 64, 65, 128, 1000, 1024, 1025, 5000, 123_457])
def test_bands_cover_every_row_once(rows: int) -> None:
    edges = band_edges(rows)
    assert edges[0][0] == 0
    assert edges[-1][1] == rows
    assert all(a[1] == b[0] for a, b in itertools.pairwise(edges))
    assert all(start < stop for start, stop in edges)
    assert len(edges) <= BANDS
    assert all(stop - start >= MIN_BAND_ROWS for start, stop in edges[:-1])


def test_bands_do_not_depend_on_the_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GULLYWALK_WORKERS", "1")
    one = band_edges(5000)
    monkeypatch.delenv("GULLYWALK_WORKERS")
    assert band_edges(5000) == one


@pytest.mark.parametrize("wish", ["", "0", "-3", "many", "1.5"])
def test_a_wish_that_is_no_number_is_passed_over(
    wish: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("GULLYWALK_WORKERS", raising=False)
    usual = workers()
    monkeypatch.setenv("GULLYWALK_WORKERS", wish)
    assert workers() == usual


def test_a_wish_lowers_the_number_and_never_raises_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GULLYWALK_WORKERS", raising=False)
    usual = workers()
    monkeypatch.setenv("GULLYWALK_WORKERS", "1")
    assert workers() == 1
    monkeypatch.setenv("GULLYWALK_WORKERS", str(usual + 100))
    assert workers() == usual


def test_results_come_in_order_however_long_each_takes() -> None:
    def work(i: int) -> int:
        time.sleep(0.02 if i == 0 else 0)
        return i * i

    assert over_items(work, range(6)) == [0, 1, 4, 9, 16, 25]
    assert over_items(work, []) == []


def test_one_worker_stays_in_its_own_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GULLYWALK_WORKERS", "1")
    here = threading.get_ident()
    assert set(over_bands(lambda a, b: threading.get_ident(), 500)) == {here}


def test_an_error_in_a_band_comes_out() -> None:
    def fail(start: int, stop: int) -> None:
        if start:
            raise ZeroDivisionError(f"rows {start} to {stop}")

    with pytest.raises(ZeroDivisionError, match="rows 64 to 128"):
        over_bands(fail, 128)
