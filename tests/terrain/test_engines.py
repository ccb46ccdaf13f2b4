"""Flow engines behind one interface, and what is done with an engine that errs."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from terrain.flow.conditioning import CarveLimits, Conditioned, ConditioningReport, condition
from terrain.flow.engines import (
    CheckedEngine,
    FlowEngine,
    NativeEngine,
    beside_outside,
    fault_of,
    flow_engines,
    get_engine,
)
from terrain.flow.engines_pysheds import PyshedsEngine
from terrain.flow.flow_field import FlowField
from terrain.values.errors import EngineError
from terrain.values.grid import Grid
from terrain.values.plugins import PluginError
from terrain.values.raster import Raster
from tests.terrain import oracle
from tests.terrain.surfaces import named, random_cases


@pytest.fixture
def pysheds_engine() -> FlowEngine:
    """The engine of an extra; its tests are skipped where that is not installed."""
    pytest.importorskip("pysheds")
    return get_engine("pysheds")


def test_both_engines_are_there() -> None:
    assert flow_engines().names == ("native", "pysheds")
    assert get_engine().name == "native"
    assert get_engine("pysheds").name == "pysheds"
    for engine in flow_engines():
        assert isinstance(engine, FlowEngine)


def test_an_unknown_engine_gets_the_list() -> None:
    with pytest.raises(PluginError, match=r"no flow engine named 'swift'; .*native, pysheds"):
        get_engine("swift")


def test_native_is_our_own_conditioning() -> None:
    limits = CarveLimits(0.5, 3)
    for case in random_cases(1, 5):
        got = get_engine("native").condition(case.raster, limits=limits)
        own = condition(case.raster, limits=limits)
        assert got.flow.codes.tobytes() == own.flow.codes.tobytes()
        assert got.raster.elevation_m.tobytes() == own.raster.elevation_m.tobytes()


@pytest.mark.parametrize("base", [0.0, 2000.0])
def test_pysheds_drains_whatever_it_is_given(base: float, pysheds_engine: FlowEngine) -> None:
    """The checks of `get_engine` say so; where they do not, it raises."""
    for case in random_cases(4, 40, largest=20):
        raster = Raster.from_array(case.z + np.float32(base), grid=case.raster.grid)
        before = raster.elevation_m.tobytes()
        got = pysheds_engine.condition(raster)
        assert raster.elevation_m.tobytes() == before
        counts = got.flow.accumulate()
        assert counts[got.flow.codes == 8].sum() == raster.valid_cells


@pytest.mark.parametrize("z", named().values(), ids=named().keys())
def test_pysheds_on_surfaces_with_a_story(
    z: NDArray[np.float32], pysheds_engine: FlowEngine
) -> None:
    raster = Raster.from_array(z)
    got = pysheds_engine.condition(raster)
    assert fault_of(raster, got) == ""


def test_pysheds_directions_are_its_own(pysheds_engine: FlowEngine) -> None:
    """On a surface that drains, both engines give the steepest of eight."""
    r, c = np.indices((30, 40))
    z = 100 - 0.7 * r - 0.2 * c + 0.05 * np.random.default_rng(3).random((30, 40))
    raster = Raster.from_array(z)
    got = pysheds_engine.condition(raster)
    np.testing.assert_array_equal(got.flow.codes, oracle.raw_codes(raster.elevation_m))
    assert got.report.carved == 0
    assert got.report.filled_cells == 0


def test_pysheds_fills_where_we_cut(pysheds_engine: FlowEngine) -> None:
    z = np.full((5, 8), 9.0)
    z[2] = [9, 5, 2, 4, 3, 1.5, 1, 0]
    raster = Raster.from_array(z)
    got = pysheds_engine.condition(raster)
    assert got.raster.elevation_m[2, 2] == pytest.approx(4, abs=1e-3)
    assert got.report.filled_cells >= 1
    assert get_engine().condition(raster).raster.elevation_m[2, 3] == 2


def test_pysheds_that_is_not_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in [m for m in sys.modules if m.split(".")[0] == "pysheds"]:
        monkeypatch.delitem(sys.modules, module)
    monkeypatch.setitem(sys.modules, "pysheds", None)
    with pytest.raises(EngineError, match=r"needs pysheds.*gullywalk\[pysheds\]"):
        PyshedsEngine().condition(Raster.from_array(np.ones((5, 5))))


@dataclass
class Foreign:
    """An engine from elsewhere that spoils the native result."""

    spoil: Callable[[Conditioned], Any]
    name: str = "foreign"

    def condition(self, raster: Raster, **options: Any) -> Any:
        return self.spoil(NativeEngine().condition(raster, **options))


def with_code(cell: tuple[int, int], code: int) -> Callable[[Conditioned], Conditioned]:
    def spoil(good: Conditioned) -> Conditioned:
        codes = good.flow.codes.copy()
        codes[cell] = code
        return Conditioned(good.raster, FlowField(good.flow.grid, codes), good.report)

    return spoil


def with_surface(cell: tuple[int, int], level: float) -> Callable[[Conditioned], Conditioned]:
    def spoil(good: Conditioned) -> Conditioned:
        z = good.raster.elevation_m.copy()
        z[cell] = level
        return Conditioned(replace(good.raster, elevation_m=z), good.flow, good.report)

    return spoil


def elsewhere(good: Conditioned) -> Conditioned:
    grid = Grid(
        *good.raster.grid.shape,
        good.raster.grid.transform.translation(5, 0) @ (good.raster.grid.transform),
    )
    return Conditioned(
        Raster(grid, good.raster.elevation_m, good.raster.valid),
        FlowField(grid, good.flow.codes),
        ConditioningReport(),
    )


def fewer(good: Conditioned) -> Conditioned:
    valid = good.raster.valid.copy()
    valid[0, 0] = False
    return Conditioned(replace(good.raster, valid=valid), good.flow, good.report)


def in_a_circle(good: Conditioned) -> Conditioned:
    level = replace(good.raster, elevation_m=np.zeros(good.raster.grid.shape, dtype=np.float32))
    codes = good.flow.codes.copy()
    codes[2, 2], codes[2, 3] = 2, 6
    return Conditioned(level, FlowField(good.flow.grid, codes), good.report)


SLOPE = Raster.from_array(50.0 - np.add.outer(3 * np.arange(6), np.arange(7)))


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda good: None, "no conditioned surface"),
        (elsewhere, "another grid"),
        (fewer, "known cells differ"),
        (with_code((2, 2), 255), "cells with a direction"),
        (with_code((2, 2), 9), "flow code 9"),
        (with_code((2, 2), 8), "does not touch the outside"),
        (with_code((0, 3), 0), "off the known ground"),
        (with_code((3, 0), 6), "off the known ground"),
        (with_code((2, 2), 0), "lead up"),
        (with_surface((2, 2), -100), "lead up"),
        (in_a_circle, "circle"),
    ],
)
def test_a_bad_result_is_refused_by_name(spoil: Callable[[Conditioned], Any], said: str) -> None:
    with pytest.raises(EngineError, match=f"'foreign' gave a result.*{said}"):
        CheckedEngine(Foreign(spoil)).condition(SLOPE)


def test_a_good_result_goes_through() -> None:
    got = CheckedEngine(Foreign(lambda good: good)).condition(SLOPE)
    assert fault_of(SLOPE, got) == ""


def test_directions_into_voids_are_refused() -> None:
    z = SLOPE.elevation_m.copy()
    z[3, 3] = np.nan
    raster = Raster.from_array(z)
    result = with_code((2, 3), 4)(condition(raster))
    assert fault_of(raster, result) == "directions lead off the known ground"


def test_an_engine_that_raises_is_named() -> None:
    def raise_(good: Conditioned) -> None:
        raise IndexError("list index out of range")

    with pytest.raises(PluginError, match="flow engine 'foreign' failed: IndexError"):
        CheckedEngine(Foreign(raise_)).condition(SLOPE)


def test_beside_outside() -> None:
    for case in random_cases(9, 25):
        valid = case.raster.valid
        marked = beside_outside(valid)
        for cell in map(tuple, np.argwhere(valid).tolist()):
            assert marked[cell] == oracle.touches_outside(case.z, cell)
