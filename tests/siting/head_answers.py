"""Every headcut of a layer has a site or a reason: held on whatever ground a test screens."""

from __future__ import annotations

from typing import Any

import numpy as np

from siting.screening import Screening


def assert_every_head_has_an_answer(found: Screening) -> dict[str, int]:
    """Hold it; return how many headcuts have which answer."""
    heads: Any = found.headcuts.columns
    counts: dict[str, int] = {}
    sites = found.sites.columns
    for i in range(found.headcuts.size):
        code, site = str(heads["answer"][i]), int(heads["site_id"][i])
        counts[code] = counts.get(code, 0) + 1
        assert (code == "site") == (site > 0) == (not heads["why_no_site"][i])
        if site:
            at = np.flatnonzero(sites["site_id"] == site)[0]
            drop = float(heads["headcut_height_m"][i])
            assert abs(float(sites["headcut_height_m"][at]) - drop) < 1e-6
    named = {int(n) for n in heads["site_id"] if n}
    with_drop = np.isfinite(sites["headcut_height_m"].astype(float))
    assert len(named) == counts.get("site", 0) == int(np.count_nonzero(with_drop))
    without = found.headcuts.size - len(named)
    told = [c for c in found.cautions if "no site." in c]
    assert len(told) == (1 if without else 0)
    return counts
