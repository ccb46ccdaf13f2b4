"""Classes of channels by their proportions, and stages of incision."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.values.arrays import FloatArray, IntArray

#: Entrenchment ratio: flood-prone width (at twice the greatest bankfull depth) over bankfull width.
#: Rosgen, 1994, A classification of natural rivers, Catena 22, figure of the level II key.
ENTRENCHMENT = (
    (1.4, "entrenched"),
    (2.2, "moderately entrenched"),
    (np.inf, "slightly entrenched"),
)
#: Width of the valley floor over bankfull width. From memory; limits are approximate.
CONFINEMENT = ((2.0, "confined"), (4.0, "partly confined"), (np.inf, "unconfined"))

#: From this bank-height ratio on a channel counts as incised (class "incised" and above).
INCISED_RATIO = 1.3
#: Lower banks, m, are those of a swale, however shallow its flow.
LEAST_CUT_M = 0.5
#: A cut this narrow (bank-top width over bank depth) still deepens; a wider one widens. Common
#: practice, no published source: the critical bank height depends on the soil.
NARROW_RATIO = 5.0
#: No stage is surer than this: an elevation raster shows neither failing banks nor plants.
SUREST_STAGE = 0.7


def confinement_class(ratio: FloatArray) -> NDArray[Any]:
    """Name ratios of valley floor to bankfull width: below 2, 2 to 4, above 4 (from memory).

    Any shape; the names have the same.
    """
    return _named(ratio, CONFINEMENT)


def incision_stage(
    *,
    bank_height_ratio: FloatArray,
    bank_width_m: FloatArray,
    bank_depth_m: FloatArray,
    bench_m: FloatArray,
    entrenchment_ratio: FloatArray,
    sure: NDArray[np.bool_],
) -> tuple[IntArray, FloatArray]:
    """Stage of incision and how sure it is; arrays over places, ``(n,)``.

    1 not incised, 2 deepening, 3 widening, 4 filling (a bench has formed inside the cut), 5 settled
    (its new flood plain is wide). After Schumm, Harvey and Watson, 1984, Incised Channels; what
    tells the stages apart in a section is common practice, no published source.

    Returns
    -------
    tuple
        Stages 1 to 5 (0 where the section does not tell), and confidences from 0 to 0.7.
    """
    ratio = np.asarray(bank_height_ratio, dtype=np.float64)
    known = np.isfinite(ratio)
    safe = np.where(known, ratio, 1.0)
    shape = np.where(known, bank_width_m / np.where(bank_depth_m > 0, bank_depth_m, np.nan), np.nan)
    bench = np.isfinite(bench_m)
    wide_plain = np.nan_to_num(entrenchment_ratio) > ENTRENCHMENT[1][0]
    incised = (safe > INCISED_RATIO) & (np.nan_to_num(bank_depth_m) >= LEAST_CUT_M)
    stage = np.select(
        [~known, ~incised, bench & wide_plain, bench, np.nan_to_num(shape) < NARROW_RATIO],
        [0, 1, 5, 4, 2],
        default=3,
    ).astype(np.int64)
    # how far the measure that decided lies from its limit
    by_ratio = np.minimum(np.abs(np.log(safe / INCISED_RATIO)), 0.7) / 0.7
    by_shape = np.minimum(np.abs(np.log(np.where(shape > 0, shape, 1.0) / NARROW_RATIO)), 0.7) / 0.7
    margin = np.where((stage == 2) | (stage == 3), np.minimum(by_ratio, by_shape), by_ratio)
    confidence = 0.2 + 0.3 * margin + 0.2 * sure
    return stage, np.where(stage > 0, np.minimum(confidence, SUREST_STAGE), 0.0)


def _named(ratio: FloatArray, classes: tuple[tuple[float, str], ...]) -> NDArray[Any]:
    """Name ratios by classes that each reach up to a limit, the limit included; '' for NaN."""
    values = np.asarray(ratio, dtype=np.float64)
    out = np.full(values.shape, "", dtype=object)
    below = -np.inf
    for upper, name in classes:
        out[(values > below) & (values <= upper)] = name
        below = upper
    return out
