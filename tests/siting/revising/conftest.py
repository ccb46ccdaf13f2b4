"""The gully whose bankfull is sure and shallow, as a plan keeps it."""

from __future__ import annotations

import pytest
import shapely

from siting.layout.measuring import BuildSettings
from siting.places.spot import Stock
from siting.record.settings_used import SettingsUsed
from siting.record.site_records import record_columns
from siting.revising.revise import PlanParts
from siting.works.takes import Means
from tests.siting.conftest import Worked, keep_of


@pytest.fixture(scope="session")
def parts(shallow: Worked) -> PlanParts:
    """What a plan keeps of that gully."""
    return parts_of(shallow)


def parts_of(worked: Worked, stock: Stock | None = None) -> PlanParts:
    """What a plan keeps of a gully, with the road along its western side."""
    road = keep_of(shapely.LineString([(20.0, 20.0), (20.0, 380.0)]))
    build = BuildSettings(stock=stock or Stock(), keep=road)
    used = SettingsUsed(worked.ground.rules, Means(), build)
    return PlanParts(
        records=record_columns(worked.sites, worked.effects, cell_m=1.0)["text"].tolist(),
        settings=used.texts(),
        length_unit="m",
        project=lambda lon, lat: (lon, lat),
    )
