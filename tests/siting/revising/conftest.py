"""The gully whose grade controls lie flush, as a plan keeps it."""

from __future__ import annotations

import pytest
import shapely

from siting.layout.measuring import BuildSettings
from siting.record.settings_used import SettingsUsed
from siting.record.site_records import record_columns
from siting.revising.revise import PlanParts
from siting.works.ranking import load_weights
from siting.works.takes import Means
from tests.siting.conftest import Worked, keep_of


@pytest.fixture(scope="session")
def parts(flush: Worked) -> PlanParts:
    """What a plan keeps of that gully, with the road along its western side."""
    road = keep_of(shapely.LineString([(20.0, 20.0), (20.0, 380.0)]))
    used = SettingsUsed(flush.ground.rules, load_weights(), Means(), BuildSettings(keep=road))
    return PlanParts(
        records=record_columns(flush.sites, flush.effects, cell_m=1.0)["text"].tolist(),
        settings=used.texts(),
        length_unit="m",
        project=lambda lon, lat: (lon, lat),
    )
