"""Tailwater: against weir and Manning's equation, the differential equation, and a jump."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from siting.channels.bed_profile import bed_below
from siting.channels.ground import Ground
from siting.effects.backwater import tailwater_in
from siting.effects.channel_above import channel_above
from siting.effects.pools import pool_in
from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import (
    GRAVITY_MPS2,
    conjugate_depth_m,
    normal_flow,
)
from terrain.values.errors import ParameterError
from tests.siting.trenches import channel_cell, prism, trench

N = 0.045


@pytest.mark.parametrize(("width", "side"), [(2.0, 0.0), (4.0, 0.0), (3.0, 1.5)])
@pytest.mark.parametrize("flow", [0.1, 0.6, 2.5])
def test_level_at_the_structure(width: float, side: float, flow: float) -> None:
    """Crest and head, on a crest as wide as the channel at the water's level."""
    found = tailwater_in(
        prism(width, side=side), crest_height_m=0.3, discharge_m3s=flow, roughness=N, slope=0.02
    )
    section = CrossSection.trapezoid(width, side=side, depth_m=3.0)
    normal = normal_flow(section, flow, slope=0.02, roughness=N).depth_m
    assert found.normal_depth_m == pytest.approx(normal, rel=0.01)
    assert found.head_m == pytest.approx(
        (flow / (1.65 * (width + 2 * side * found.depth_m))) ** (2 / 3), rel=0.01
    )
    assert found.rule == "weir"
    assert found.depth_m == pytest.approx(0.3 + found.head_m)
    assert found.level_m == pytest.approx(10.0 + found.depth_m)


def test_normal_depth_drowns_a_low_crest_on_a_flat_bed() -> None:
    found = tailwater_in(
        prism(3.0, slope=0.001, length_m=60.0),
        crest_height_m=0.1,
        discharge_m3s=2.0,
        roughness=0.06,
        slope=0.001,
    )
    section = CrossSection.trapezoid(3.0, side=0.0, depth_m=3.0)
    normal = normal_flow(section, 2.0, slope=0.001, roughness=0.06).depth_m
    assert found.rule == "normal"
    assert found.depth_m == pytest.approx(normal, rel=0.01)
    # even flow stays even all the way up
    np.testing.assert_allclose(found.surface_m - 10.0 - 0.001 * found.up_m, normal, rtol=0.02)
    assert found.length_m == 0.0


def surface(width: float, side: float, flow: float, slope: float, start: float, up_m) -> np.ndarray:
    """Depths of gradually varied flow from its differential equation."""

    def fall(_: float, depth: np.ndarray) -> np.ndarray:
        y = depth[0]
        area, top = y * (width + side * y), width + 2 * side * y
        radius = area / (width + 2 * y * np.hypot(1.0, side))
        friction = (flow * N / (area * radius ** (2 / 3))) ** 2
        froude2 = flow**2 * top / (GRAVITY_MPS2 * area**3)
        return np.array([-(slope - friction) / (1.0 - froude2)])

    found = solve_ivp(fall, (0.0, up_m[-1]), [start], t_eval=up_m, rtol=1e-9, atol=1e-9)
    return found.y[0]


@pytest.mark.parametrize(
    ("width", "side", "flow", "slope"),
    [(3.0, 0.0, 1.0, 0.015), (3.0, 1.5, 2.0, 0.01), (2.0, 0.0, 0.2, 0.02), (4.0, 1.0, 0.5, 0.004)],
)
def test_backwater_follows_the_differential_equation(
    width: float, side: float, flow: float, slope: float
) -> None:
    above = prism(width, side=side, slope=slope, length_m=48.0, step_m=1.0)
    found = tailwater_in(above, crest_height_m=0.3, discharge_m3s=flow, roughness=N, slope=slope)
    depth = found.surface_m - 10.0 - slope * found.up_m
    truth = surface(width, side, flow, slope, found.depth_m, found.up_m)
    assert not found.steep
    assert truth[0] - truth[-1] > 0.02  # there is a backwater to follow
    np.testing.assert_allclose(depth, truth, rtol=0.02, atol=0.004)


def test_on_a_steep_bed_it_ends_in_a_jump() -> None:
    width, flow, slope = 2.0, 0.8, 0.10
    above = prism(width, slope=slope, length_m=20.0, step_m=0.5, ends_at="foot")
    found = tailwater_in(above, crest_height_m=0.4, discharge_m3s=flow, roughness=0.03, slope=slope)
    section = CrossSection.trapezoid(width, side=0.0, depth_m=3.0)
    normal = normal_flow(section, flow, slope=slope, roughness=0.03)
    assert normal.froude > 1.2
    assert found.steep
    depth = found.surface_m - 10.0 - slope * found.up_m
    after = conjugate_depth_m(normal.depth_m, normal.froude)
    deep = depth > 1.05 * normal.depth_m
    assert deep[0]
    assert not deep[-1]
    assert (np.diff(deep.astype(int)) <= 0).all()  # one jump
    assert depth[deep].min() >= after * 0.98
    np.testing.assert_allclose(depth[~deep], normal.depth_m, rtol=0.02)
    assert found.toe_depth_m == pytest.approx(normal.depth_m, rel=0.02)


def test_more_water_stands_higher_and_more_than_the_still_pool() -> None:
    above = prism(3.0, slope=0.02, length_m=5.0, ends_at="foot")
    still = pool_in(above, crest_height_m=0.2)
    toes = [
        tailwater_in(
            above, crest_height_m=0.2, discharge_m3s=q, roughness=N, slope=0.02
        ).toe_depth_m
        for q in (0.02, 0.2, 1.0, 3.0)
    ]
    assert (np.diff([still.toe_depth_m, *toes]) > 0).all()


def test_over_the_banks() -> None:
    above = prism(2.0, bank_m=0.5)
    low = tailwater_in(above, crest_height_m=0.2, discharge_m3s=0.1, roughness=N, slope=0.02)
    high = tailwater_in(above, crest_height_m=0.2, discharge_m3s=6.0, roughness=N, slope=0.02)
    assert not low.overtops
    assert high.overtops


def test_a_section_that_is_not_known_carries_no_more_than_a_slit() -> None:
    above = prism(2.0, length_m=4.0)
    height = above.height_m.copy()
    height[3] = np.nan
    found = tailwater_in(
        replace(above, height_m=height),
        crest_height_m=0.2,
        discharge_m3s=0.2,
        roughness=N,
        slope=0.02,
    )
    assert np.isfinite(found.surface_m).all()
    assert found.overtops


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"crest_height_m": 0.0}, "a crest of 0 m"),
        ({"discharge_m3s": -1.0}, "a flow of -1 m3/s"),
        ({"discharge_m3s": np.nan}, "a flow of nan m3/s"),
        ({"roughness": 0.0}, "a roughness of 0"),
        ({"slope": np.nan}, "a bed slope that is not known"),
    ],
)
def test_impossible_values(changed: dict[str, float], text: str) -> None:
    given = {"crest_height_m": 0.2, "discharge_m3s": 1.0, "roughness": N, "slope": 0.02}
    with pytest.raises(ParameterError, match=text):
        tailwater_in(prism(2.0), **(given | changed))


def test_on_a_trench_it_agrees_with_the_prism(measured: Callable[..., Ground]) -> None:
    width, side, slope = 4.0, 1.5, 0.015
    ground = measured(trench(width, side=side, slope=slope, cell_m=0.5))
    found = tailwater_in(
        channel_above(ground, channel_cell(ground, 30.0), length_m=80.0),
        crest_height_m=0.3,
        discharge_m3s=1.0,
        roughness=N,
        slope=slope,
    )
    truth = tailwater_in(
        prism(width, side=side, slope=slope, length_m=60.0),
        crest_height_m=0.3,
        discharge_m3s=1.0,
        roughness=N,
        slope=slope,
    )
    assert found.depth_m == pytest.approx(truth.depth_m, abs=0.03)  # the bed dips by 2 to 4 cm
    assert found.length_m == pytest.approx(truth.length_m, rel=0.25)


def test_below_a_planted_drop(measured: Callable[..., Ground]) -> None:
    ground = measured(trench(3.0, side=0.5, noise_m=0.02, drop_m=0.8))
    heads = ground.headcuts
    foot = int(heads.foot_cell[np.argmax(heads.headcut_height_m * heads.confidence)])
    cell = int(bed_below(ground, foot, length_m=5.0).cell[-1])
    given = {"discharge_m3s": 0.6, "roughness": N, "slope": 0.02}
    above = channel_above(ground, cell, length_m=40.0, toe_cell=foot)
    found = tailwater_in(above, crest_height_m=0.25, **given)
    still = pool_in(above, crest_height_m=0.25)
    truth = tailwater_in(
        prism(3.0, side=0.5, length_m=5.0, ends_at="foot"), crest_height_m=0.25, **given
    )
    assert found.toe_depth_m > still.toe_depth_m + 0.1
    assert found.toe_depth_m == pytest.approx(truth.toe_depth_m, abs=0.08)
    assert found.toe_error_m == pytest.approx(still.toe_error_m)
    same = tailwater_in(
        channel_above(ground, cell, length_m=0.0, toe_cell=foot), crest_height_m=0.25, **given
    )
    assert same.toe_depth_m == found.toe_depth_m
