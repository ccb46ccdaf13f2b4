"""What must hold of the range of a flow, whatever the parts that make it unsure."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from siting.floods.flow_range import FlowRange, Part, widest_parts

FLOW = st.one_of(st.just(float("nan")), st.floats(0.0, 50.0))


@st.composite
def parts_at_sites(draw: st.DrawFn) -> tuple[np.ndarray, list[Part]]:
    """Likely flows at a few sites, and some parts, of which any may be silent at any site."""
    n, m = draw(st.integers(1, 4)), draw(st.integers(0, 5))

    def flows() -> np.ndarray:
        return np.array(draw(st.lists(FLOW, min_size=n, max_size=n)))

    names = [(f"both {k}", f"low {k}", f"high {k}") for k in range(m)]
    return flows(), [Part(*name, flows(), flows()) for name in names]


def told(value: float, parts: list[Part], i: int) -> list[Part]:
    """Parts that say something at a site: both ends are known, and the flow."""
    if not np.isfinite(value):
        return []
    return [p for p in parts if np.isfinite(p.low_m3s[i]) and np.isfinite(p.high_m3s[i])]


@settings(max_examples=200, deadline=None)
@given(parts_at_sites())
def test_each_end_is_that_of_the_part_furthest_out(made: tuple[np.ndarray, list[Part]]) -> None:
    value, parts = made
    found = widest_parts(value, parts)
    for i, flow in enumerate(value):
        here = told(flow, parts, i)
        if not here:
            assert np.isnan(found.low_m3s[i])
            assert np.isnan(found.high_m3s[i])
            assert found.rests_on[i] is None
            continue
        lows, highs = [p.low_m3s[i] for p in here], [p.high_m3s[i] for p in here]
        assert found.low_m3s[i] == min(flow, *lows)
        assert found.high_m3s[i] == max(flow, *highs)
        # never narrower than any part, and no wider than the furthest end of one
        assert all(found.low_m3s[i] <= low for low in lows)
        assert all(found.high_m3s[i] >= high for high in highs)
        assert any(name in found.rests_on[i] for p in here for name in (p.both, p.high_end))


@settings(max_examples=100, deadline=None)
@given(parts_at_sites(), st.randoms(use_true_random=False))
def test_the_order_of_the_parts_changes_no_end(
    made: tuple[np.ndarray, list[Part]], random: object
) -> None:
    value, parts = made
    other = list(parts)
    random.shuffle(other)  # type: ignore[attr-defined]
    a, b = widest_parts(value, parts), widest_parts(value, other)
    np.testing.assert_array_equal(a.low_m3s, b.low_m3s)
    np.testing.assert_array_equal(a.high_m3s, b.high_m3s)


@settings(max_examples=100, deadline=None)
@given(parts_at_sites())
def test_one_more_part_never_narrows_it(made: tuple[np.ndarray, list[Part]]) -> None:
    value, parts = made

    def ends(found: FlowRange) -> tuple[np.ndarray, np.ndarray]:
        low, high = found.low_m3s, found.high_m3s
        return np.where(np.isnan(low), value, low), np.where(np.isnan(high), value, high)

    known = np.isfinite(value)
    for k in range(len(parts)):
        (low, high), (wider_low, wider_high) = (
            ends(widest_parts(value, some)) for some in (parts[:k], parts[: k + 1])
        )
        assert (wider_low[known] <= low[known]).all()
        assert (wider_high[known] >= high[known]).all()
