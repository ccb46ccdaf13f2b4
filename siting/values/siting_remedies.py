"""What helps where something that siting needs is missing or cannot be used."""

from __future__ import annotations

from terrain.values.errors import Remedy


class SitingRemedy(Remedy):
    """Remedies of floods, maps, roads and walks."""

    GIVE_RAIN = "give rainfall"
    GIVE_CURVE_NUMBER = "give a curve number, or maps of soil and cover"
    GIVE_RAIN_AND_CURVE_NUMBER = "give rainfall and a curve number, or maps of soil and cover"
    ONE_CURVE_NUMBER = "give one curve number instead of maps, or use a coarser DEM"
    OWN_COVERS = "give a cover table of your own, or one curve number"
    NAME_SOILS_FIELD = "name the field with the soil group"
    NAME_SOILS_LAYER = "name the layer of the soil map"
    NAME_COVER_FIELD = "name the field with the code of the cover"
    NAME_COVER_LAYER = "name the layer of the cover map"
    NAME_ROADS_LAYER = "name the layer of the roads"
    NAME_KEEP_CLEAR_LAYER = "name the layer of what is kept clear of"
    START_ON_GROUND = "start on ground that it knows"
    START_ELSEWHERE = "give another start"
    LONGER_OR_NEARER = "give more hours, or a nearer start"
