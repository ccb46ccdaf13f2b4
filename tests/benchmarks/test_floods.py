"""The benchmark of floods runs, on a raster small enough for every day."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.benchmarks import floods
from tests.benchmarks.ranch import make_ranch

SIZE, SITES = 300, 40


def test_floods_are_timed_with_every_method_at_every_site() -> None:
    result = floods.time_floods(make_ranch(SIZE), SITES)
    assert result["cells"] == SIZE**2
    assert result["sites"] == SITES
    assert result["rows"] == SITES * 4 * 6
    # maps with holes, but enough of them that every site has a flow
    assert result["known"] == SITES
    assert result["total_s"] == pytest.approx(sum(result["parts_s"].values()))
    assert all(seconds > 0 for seconds in result["parts_s"].values())


def test_one_run_warms_up_first(tmp_path: Path) -> None:
    path = tmp_path / "ranch.npy"
    np.save(path, make_ranch(SIZE))
    assert floods.run_one(path, path, SITES)["sites"] == SITES


def test_the_share_decides_how_the_run_ends(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mine: dict[str, Any]
    for took, code in ((1.0, 0), (1.1, 1)):
        mine = {"sites": 9, "cells": 90_000, "parts_s": {"all": took}}
        mine |= {"total_s": took, "numbering_s": 0.2}
        other = {"tool": "other", "total_s": 2.0}
        monkeypatch.setattr(floods, "run_both", lambda *_, pair=(mine, other): pair)
        assert floods.main(["--size", "300"]) == code
        assert f"share {took / 2:.2f} (at most 0.5)" in (out := capsys.readouterr().out)
        assert f"{took / 2 + 0.1:.2f} with the numbering" in out
