"""Memory: figures before the start, and a refusal that names what helps."""

from __future__ import annotations

import resource

import pytest

import terrain.values.memory
from terrain.values.errors import MemoryNeedError
from terrain.values.memory import (
    ANALYSIS_BYTES_PER_CELL,
    BASE_BYTES,
    free_bytes,
    memory_need,
    require_memory,
    size_text,
)

GIB = 2**30


def test_need_grows_by_the_stated_bytes_a_cell() -> None:
    small, large = memory_need(0), memory_need(1_000_000)
    assert small.need_bytes == BASE_BYTES
    assert large.need_bytes - small.need_bytes == 1_000_000 * ANALYSIS_BYTES_PER_CELL


def test_a_run_that_cannot_fit_is_refused_with_both_figures(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(terrain.values.memory, "free_bytes", lambda: 6 * GIB)
    with pytest.raises(MemoryNeedError) as caught:
        require_memory(300_000_000, do="use --boundary")
    text = str(caught.value)
    assert "300,000,000 cells need about 10.4 GB of memory" in text
    assert "at most 5.4 GB of the 6 GB that is free" in text
    assert text.endswith("Use --boundary.")
    assert require_memory(25_000_000).fits


def test_a_share_of_the_free_memory_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    need = memory_need(1_000_000).need_bytes
    monkeypatch.setattr(terrain.values.memory, "free_bytes", lambda: need)
    assert not memory_need(1_000_000).fits


def test_the_limit_of_the_process_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    usual = free_bytes()
    assert usual > 0
    monkeypatch.setattr(resource, "getrlimit", lambda _: (1, 1))
    assert free_bytes() == 0


def test_the_limit_of_a_container_counts(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "memory.max").write_text(f"{GIB}\n")
    (tmp_path / "memory.current").write_text(f"{GIB // 2}\n")
    (tmp_path / "memory.stat").write_text(f"anon 5\ninactive_file {GIB // 8}\n")
    monkeypatch.setattr(terrain.values.memory, "_CGROUP", tmp_path)
    assert free_bytes() == GIB // 2 + GIB // 8
    (tmp_path / "memory.max").write_text("max\n")
    assert free_bytes() > GIB


@pytest.mark.parametrize(
    ("count", "text"), [(5 * GIB, "5 GB"), (300 * 2**20, "300 MB"), (2048, "2 kB")]
)
def test_sizes_in_words(count: int, text: str) -> None:
    assert size_text(count) == text
