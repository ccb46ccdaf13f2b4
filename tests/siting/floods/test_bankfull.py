"""Bankfull curves: flags, names and refusals."""

import numpy as np
import pytest

from siting.floods.bankfull_curves import bankfull_curve, bankfull_geometry
from siting.floods.data_files import data_file
from siting.floods.flood_errors import BankfullError


def test_every_division_grows_with_area_and_is_frozen() -> None:
    areas_ha = np.geomspace(1.0, 1.0e6, 30)
    divisions = tuple(data_file("bankfull_curves.toml"))
    assert len(divisions) == 9
    for name in divisions:
        size = bankfull_geometry(areas_ha, division=name)
        for values in (size.width_m, size.depth_m, size.area_m2):
            assert (np.diff(values) > 0).all()
            assert not values.flags.writeable


def test_gully_areas_are_flagged_below_the_fitted_range() -> None:
    size = bankfull_geometry([5.0, 19.9, 20.1, 2.0e7])
    assert size.below_range.tolist() == [True, True, False, False]
    assert size.above_range.tolist() == [False, False, False, True]
    size = bankfull_geometry([99.0, 101.0], division="intermontane_plateaus")
    assert size.below_range.tolist() == [True, False]


def test_curves_with_few_sites_say_so() -> None:
    assert bankfull_curve("Interior Highlands").few_sites
    assert not bankfull_curve("interior-plains").few_sites


def test_refusals() -> None:
    with pytest.raises(BankfullError, match=r"division 'great_plains'; expected one of usa, rocky"):
        bankfull_geometry(100.0, division="great_plains")
    with pytest.raises(BankfullError, match="a drainage area of 0 ha"):
        bankfull_geometry([10.0, 0.0])
