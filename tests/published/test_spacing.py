"""Number of structures on a reach against a worked example of an agency's guide."""

import math

import pytest

from siting.structures.spacing import compensation_m
from tests.published.printed import answer


@pytest.mark.parametrize("wanted_slope", [0.005, 0.010])
def test_check_dams_in_a_swale_sp_1(wanted_slope: float) -> None:
    """Sustainable Technologies Evaluation Program (Toronto), guide to check dams, page copies.

    Four dams of 0.6 m on 42 m at 6 %. The guide asks for a slope between dams of 0.5 to 1 per cent
    and does not say which its example takes; both ends give the same number.
    """
    spacing = compensation_m(0.6, 0.06, compensation=wanted_slope)
    answer(math.ceil(42 / float(spacing)), 4, of="SP-1", within=0)
