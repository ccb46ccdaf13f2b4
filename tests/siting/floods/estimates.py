"""What an estimate says about a site, for the tests of the methods."""

from siting.floods.flood_method import FloodEstimate


def notes_at(estimate: FloodEstimate, site: int) -> tuple[str, ...]:
    """Remarks that hold for one site, in the estimate's order."""
    return tuple(flag.text for flag in estimate.flags if flag.where[site])
