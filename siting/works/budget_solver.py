"""The best set under limits, exactly: whole numbers in, a set out.

The search is that of the mixed-integer solver HiGHS through `scipy.optimize.milp`, with no gap
allowed. Values, costs and limits are whole numbers here (thousandths, hundredths), and every
answer is checked with whole-number arithmetic, so that no rounding of the solver decides.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, vstack

from terrain.values.arrays import BoolArray, FloatArray, IntArray, read_only

#: Numbers settled at once when ties are broken: 2 to this power is still exact in the solver.
TIE_BLOCK = 16
#: Branches after which a tie is left as it stands; what is best is never cut short.
TIE_NODES = 5_000
#: Answers that fail the exact check are shut out one by one, up to so many.
MOST_SHUT_OUT = 100


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Choose a set of n groups, as whole numbers.

    Parameters
    ----------
    value
        What each adds, not below 0, shape ``(n,)``.
    cost
        What settles ties: less is better, shape ``(n,)``.
    use, limit
        What each uses up of m limits, shape ``(m, n)``, and the limits, shape ``(m,)``.
    needs
        Pairs of (group, group that it needs), as indices, shape ``(k, 2)``; without circles.
    """

    value: IntArray
    cost: IntArray
    use: IntArray
    limit: IntArray
    needs: IntArray

    def __post_init__(self) -> None:
        for name in self.__slots__:
            read_only(getattr(self, name))

    @property
    def size(self) -> int:
        """Number of groups."""
        return int(self.value.size)

    def holds(self, chosen: BoolArray) -> bool:
        """Whether a set keeps all limits and has all it needs."""
        fits = (self.use[:, chosen].sum(axis=1) <= self.limit).all()
        return bool(fits and (chosen[self.needs[:, 1]] | ~chosen[self.needs[:, 0]]).all())


def best_set(problem: Problem) -> BoolArray:
    """Find the set of greatest value; among equals the cheapest, then the one of lower numbers.

    "Lower numbers": of two such sets the one that holds the first group in which they differ.

    Returns
    -------
    BoolArray
        Chosen, shape ``(n,)``.

    Raises
    ------
    RuntimeError
        The solver gives up.
    """
    n = problem.size
    if not n:
        return np.zeros(0, dtype=np.bool_)
    low, high = np.zeros(n), np.ones(n)
    chosen = _search(-problem.value.astype(np.float64), problem, [], low, high)
    if chosen is None:
        raise RuntimeError("the solver found no best set")
    best = int(problem.value[chosen].sum())
    _settle(problem, best, low, high)
    value_row = (problem.value, best)
    cheaper = _search(
        problem.cost.astype(np.float64), problem, [value_row], low, high, nodes=TIE_NODES
    )
    if cheaper is not None and problem.cost[cheaper].sum() <= problem.cost[chosen].sum():
        chosen = cheaper
    return _lowest(problem, chosen, value_row, low, high)


def _lowest(
    problem: Problem,
    chosen: BoolArray,
    value_row: tuple[IntArray, int],
    low: FloatArray,
    high: FloatArray,
) -> BoolArray:
    """Among sets of the same value and cost find the one of lower numbers, block by block."""
    rows = [value_row, (problem.cost, int(problem.cost[chosen].sum()))]
    none = np.zeros(problem.size)
    if _search(none, problem, rows, low, high, nodes=TIE_NODES, without=chosen) is None:
        return chosen
    low, high = low.copy(), high.copy()
    open_ = np.flatnonzero(low < high)
    for first in range(0, open_.size, TIE_BLOCK):
        block, rest = open_[first : first + TIE_BLOCK], open_[first:]
        if not chosen[rest].any() and (problem.value[rest] > 0).all():
            break  # any more would be worth more
        if not chosen[block].all():
            objective = none.copy()
            objective[block] = -(2.0 ** np.arange(block.size - 1, -1, -1))
            lower = _search(objective, problem, rows, low, high, nodes=TIE_NODES)
            if lower is None:
                break
            chosen = lower
        low[block] = high[block] = chosen[block]
    return chosen


def _settle(problem: Problem, best: int, low: FloatArray, high: FloatArray) -> None:
    """Fix, in place, the groups that every best set holds, or that none holds.

    Any prices y of the limits (not below 0) bound the value from above: no set is worth more than
    the sum of what groups are worth beyond their price, plus the price of the limits. Where
    turning one group round brings the bound below the best value, that group is settled. The
    prices are those of the relaxed problem; the bound holds however exact they are.
    """
    rows, limits = _rows(problem)
    relaxed = linprog(
        -problem.value.astype(np.float64),
        A_ub=rows,
        b_ub=limits,
        bounds=(0.0, 1.0),
        method="highs",
    )
    if relaxed.status != 0:
        return
    prices = np.maximum(-relaxed.ineqlin.marginals, 0.0)
    beyond = problem.value - rows.T @ prices
    bound = float(np.maximum(beyond, 0.0).sum() + prices @ limits)
    settled = bound - np.abs(beyond) < best - 0.01  # values are whole numbers
    low[settled & (beyond > 0)] = 1.0
    high[settled & (beyond < 0)] = 0.0


def _rows(problem: Problem) -> tuple[csr_array, FloatArray]:
    """Limits and needs as rows of ``rows @ x <= limits``."""
    k, n = len(problem.needs), problem.size
    pairs = (np.repeat(np.arange(k), 2), problem.needs.reshape(-1))
    needs = csr_array((np.tile([1.0, -1.0], k), pairs), shape=(k, n))
    rows = vstack([csr_array(problem.use.astype(np.float64)), needs], format="csr")
    return rows, np.concatenate([problem.limit.astype(np.float64), np.zeros(k)])


def _search(
    objective: FloatArray,
    problem: Problem,
    equal: list[tuple[IntArray, int]],
    low: FloatArray,
    high: FloatArray,
    *,
    nodes: int | None = None,
    without: BoolArray | None = None,
) -> BoolArray | None:
    """Return the set of least objective that keeps the problem's and the equal rows, or None.

    Values of ``low`` and ``high`` fix groups; the set ``without`` is shut out.
    """
    rows, limits = _rows(problem)
    kept: list[Any] = [LinearConstraint(rows, -np.inf, limits)]
    kept += [LinearConstraint(row[None].astype(np.float64), total, total) for row, total in equal]
    if without is not None:
        kept.append(_other_than(without))
    options: dict[str, Any] = {"mip_rel_gap": 0.0}
    if nodes is not None:
        options["node_limit"] = nodes
    for _ in range(MOST_SHUT_OUT):
        with _quiet():
            found = milp(
                objective,
                integrality=np.ones(problem.size),
                bounds=Bounds(low, high),
                constraints=kept,
                options=options,
            )
        if found.status != 0:
            return None
        chosen = np.asarray(found.x > 0.5)
        if problem.holds(chosen) and all(row[chosen].sum() == total for row, total in equal):
            return chosen
        # the solver took this set within its tolerance, and it does not hold exactly: without it
        kept.append(_other_than(chosen))
    return None


def _other_than(chosen: BoolArray) -> LinearConstraint:
    """At least one group differs from a set."""
    sign = np.where(chosen, -1.0, 1.0)
    return LinearConstraint(sign[None], 1.0 - chosen.sum(), np.inf)


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep the process's standard output free of a line that HiGHS prints whatever it is told.

    It writes past Python to the file that standard output stands for, where results for other
    programs go. Other threads must not print meanwhile: it would be lost.
    """
    sys.stdout.flush()
    try:
        library = ctypes.CDLL("ucrtbase" if os.name == "nt" else None)
        kept = os.dup(1)
    except OSError:  # no such library, or no standard output
        yield
        return
    try:
        library.fflush(None)
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        library.fflush(None)
        os.dup2(kept, 1)
        os.close(kept)
