"""Slow plain-Python references, written from the rules and sharing no code with the kernels.

Everything works on small arrays with NaN in voids. Heaps come from `heapq`, sets of cells are
dictionaries, and every rule stands where it is used, so that a reader can check it by eye.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np

STEPS = [(-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1)]
SIDES_FIRST = [0, 2, 4, 6, 1, 3, 5, 7]
OUTLET, OPEN_END, VOID = 8, 9, 255

Cell = tuple[int, int]


def neighbours(shape: tuple[int, int], cell: Cell):
    """Code and place of each neighbour inside the raster."""
    for code, (dr, dc) in enumerate(STEPS):
        r, c = cell[0] + dr, cell[1] + dc
        if 0 <= r < shape[0] and 0 <= c < shape[1]:
            yield code, (r, c)


def moved(cell: Cell, code: int) -> Cell:
    return cell[0] + STEPS[code][0], cell[1] + STEPS[code][1]


def touches_outside(z: np.ndarray, cell: Cell) -> bool:
    near = list(neighbours(z.shape, cell))
    return len(near) < 8 or any(np.isnan(z[n]) for _, n in near)


def steepest(z: np.ndarray, cell: Cell, height_m: float, width_m: float) -> int | None:
    """Code of the steepest way down in single precision, the first of equals; None when none."""
    lengths = (height_m, float(np.hypot(height_m, width_m)), width_m)
    best, code = np.float32(0), None
    for k, n in neighbours(z.shape, cell):
        if np.isnan(z[n]):
            continue
        length = lengths[1] if k % 2 else lengths[0] if k in (0, 4) else lengths[2]
        slope = (z[cell] - z[n]) * np.float32(1 / length)
        if slope > best:
            best, code = slope, k
    return code


def raw_codes(z: np.ndarray, height_m: float = 1.0, width_m: float = 1.0) -> np.ndarray:
    """Steepest codes; 8 for an edge cell and 9 for an inner cell with no lower neighbour."""
    codes = np.empty(z.shape, dtype=np.uint8)
    for cell in np.ndindex(z.shape):
        code = None if np.isnan(z[cell]) else steepest(z, cell, height_m, width_m)
        if np.isnan(z[cell]):
            codes[cell] = VOID
        elif code is not None:
            codes[cell] = code
        else:
            codes[cell] = OUTLET if touches_outside(z, cell) else OPEN_END
    return codes


@dataclass
class Way:
    """A way out: cells that drain along codes at one level, and how deep and long it cuts."""

    level: np.float32
    steps: list[tuple[Cell, int]]
    depth: float = 0.0
    length: float = 0.0


@dataclass
class Search:
    """One round of searches on one surface."""

    z: np.ndarray
    codes: np.ndarray
    height_m: float
    width_m: float
    limits: tuple[float, float]
    flat_ways: list[Way] = field(default_factory=list)
    pit_ways: list[Way] = field(default_factory=list)
    fills: list[tuple[Cell, np.float32, list[Cell]]] = field(default_factory=list)
    settled: set[Cell] = field(default_factory=set)  # cells of flats that are done

    def run(self) -> None:
        cells = [c for c in np.ndindex(self.z.shape) if self.codes[c] == OPEN_END]
        flats, pits = [], []
        seen: set[Cell] = set()
        for cell in cells:
            if cell in seen:
                continue
            group = self.flat_around(cell)
            seen.update(group)
            (flats if len(group) > 1 else pits).append(group)
        for group in flats:
            self.drain_flat(group)
        for (pit,) in pits:
            way = self.way_out([pit], is_flat=False)
            if way is not None:
                self.pit_ways.append(way)

    def flat_around(self, start: Cell) -> list[Cell]:
        """Open-ended cells of one level that hang together, nearest first, sides before corners."""
        group = [start]
        known = {start}
        for cell in group:
            for k in SIDES_FIRST:
                near = moved(cell, k)
                if near in known or self.codes[near] != OPEN_END:
                    continue
                if self.z[near] == self.z[start]:
                    known.add(near)
                    group.append(near)
        return group

    def drain_flat(self, group: list[Cell]) -> None:
        """Give a flat its codes: from where it drains already, else from its way out, inwards."""
        level, known = self.z[group[0]], set(group)
        steps: list[tuple[Cell, int]] = []
        for cell in group:
            for k in SIDES_FIRST:
                near = moved(cell, k)
                if self.z[near] == level and self.codes[near] <= OUTLET:
                    steps.append((cell, k))
                    break
        inside = [cell for cell, _ in steps]
        depth = length = 0.0
        if not steps:
            way = self.way_out(group, is_flat=True)
            if way is None:
                self.settled.update(group)
                return
            steps, inside = list(way.steps), [way.steps[0][0]]
            depth, length = way.depth, way.length
        ring = dict.fromkeys(inside, 0)  # steps from each cell to where the flat drains
        for cell in inside:
            for _, near in neighbours(self.z.shape, cell):
                if near in known and near not in ring:
                    ring[near] = ring[cell] + 1
                    inside.append(near)
        for cell in inside:
            if ring[cell]:
                ways = [k for k in SIDES_FIRST if ring.get(moved(cell, k)) == ring[cell] - 1]
                steps.append((cell, ways[0]))
        self.settled.update(group)
        self.flat_ways.append(Way(level, steps, depth, length))

    def may_end(self, cell: Cell, level: np.float32, start: Cell, is_flat: bool) -> bool:
        if self.z[cell] < level or touches_outside(self.z, cell):
            return True
        if self.z[cell] != level:
            return False
        if cell in self.settled or self.codes[cell] <= OUTLET:
            return True
        return not is_flat and cell < start

    def way_out(self, sources: list[Cell], *, is_flat: bool) -> Way | None:
        """Search lowest first, equals in the order met; None when the depression gets filled."""
        level = self.z[sources[0]]
        came: dict[Cell, int | None] = dict.fromkeys(sources)
        heap: list[tuple[np.float32, int, Cell]] = []
        met = 0
        passed: list[Cell] = []
        inside = 0  # cells passed before the pass was reached
        spill = level

        def look_around(cell: Cell) -> None:
            nonlocal met
            for k, near in neighbours(self.z.shape, cell):
                if near not in came:
                    came[near] = k
                    heapq.heappush(heap, (self.z[near], met, near))
                    met += 1

        for cell in sources:
            look_around(cell)
        while True:
            here, _, cell = heapq.heappop(heap)
            if here > spill:
                spill, inside = here, len(passed)
            if self.may_end(cell, level, sources[0], is_flat):
                break
            passed.append(cell)
            look_around(cell)
        way = self.walk_back(cell, level, came)
        if way.depth > self.limits[0] or way.length > self.limits[1]:
            self.fills.append((sources[0], spill, sources + passed[:inside]))
            return None
        return way

    def walk_back(self, end: Cell, level: np.float32, came: dict[Cell, int | None]) -> Way:
        """Codes from the source to the end; only ground above the level is cut."""
        path = [end]
        steps: list[tuple[Cell, int]] = []
        while (k := came[path[-1]]) is not None:
            before = path[-1][0] - STEPS[k][0], path[-1][1] - STEPS[k][1]
            steps.append((before, k))
            path.append(before)
        steps.reverse()
        if self.z[end] > level:
            steps.append((end, OUTLET))
        depth = float(max(max(self.z[c] for c in path) - level, np.float32(0)))
        length = 0.0
        for cell in path[:-1]:
            if self.z[cell] > level:
                dr, dc = STEPS[came[cell]]  # type: ignore[index]
                length += float(np.hypot(dr * self.height_m, dc * self.width_m))
        return Way(level, steps, depth, length)


@dataclass
class Reference:
    """A conditioned surface, its codes, and the ways and fills that led to it."""

    surface: np.ndarray
    codes: np.ndarray
    ways: list[Way]
    fills: list[tuple[Cell, np.float32]]
    filled: np.ndarray


def condition(
    z: np.ndarray,
    *,
    height_m: float = 1.0,
    width_m: float = 1.0,
    limits: tuple[float, float] = (np.inf, np.inf),
) -> Reference:
    """Condition a surface; after a fill everything is searched anew on the raised surface."""
    filled = np.array(z, dtype=np.float32)
    fills: list[tuple[Cell, np.float32]] = []
    while True:
        codes = raw_codes(filled, height_m, width_m)
        search = Search(filled, codes, height_m, width_m, limits)
        search.run()
        if not search.fills:
            break
        filled = filled.copy()
        for start, level, cells in search.fills:
            fills.append((start, level))
            for cell in cells:
                filled[cell] = max(filled[cell], level)
    surface = filled.copy()
    given: dict[Cell, int] = {}
    ways = search.flat_ways + search.pit_ways
    # a later way has a cell only where it is lower than all earlier ones
    for way in ways:
        for cell, code in way.steps:
            if way.level < surface[cell] or (way.level == surface[cell] and cell not in given):
                surface[cell] = way.level
                given[cell] = code
    for cell in np.ndindex(z.shape):
        if np.isnan(filled[cell]):
            continue
        down = steepest(surface, cell, height_m, width_m)
        if down is not None:
            codes[cell] = down
        elif cell in given:
            codes[cell] = given[cell]
    return Reference(surface, codes, ways, fills, filled)


def donor_counts(codes: np.ndarray) -> np.ndarray:
    donors = np.zeros(codes.shape, dtype=np.uint8)
    for cell in np.ndindex(codes.shape):
        if codes[cell] < OUTLET:
            donors[moved(cell, int(codes[cell]))] += 1
    return donors


def accumulate(codes: np.ndarray, amount: np.ndarray | None = None) -> np.ndarray:
    """Send the amount of every cell down its whole way, one cell after the other."""
    own = np.ones(codes.shape) if amount is None else amount
    sums = np.zeros(codes.shape)
    for start in np.ndindex(codes.shape):
        if codes[start] == VOID:
            continue
        cell, steps = start, 0
        sums[cell] += own[start]
        while codes[cell] < OUTLET:
            cell = moved(cell, int(codes[cell]))
            sums[cell] += own[start]
            steps += 1
            if steps > codes.size:
                raise AssertionError("directions run in a circle")
    return sums


def upstream(codes: np.ndarray, cell: Cell) -> list[Cell]:
    """Cells that drain straight into a cell."""
    return [n for k, n in neighbours(codes.shape, cell) if codes[n] == (k + 4) % 8]


def longest_way_m(codes: np.ndarray, height_m: float, width_m: float) -> np.ndarray:
    """Longest way that drains to each cell, by walking down from every cell."""
    longest = np.zeros(codes.shape)
    for start in np.ndindex(codes.shape):
        if codes[start] == VOID:
            continue
        cell, walked = start, 0.0
        while codes[cell] < OUTLET:
            dr, dc = STEPS[int(codes[cell])]
            walked += float(np.hypot(dr * height_m, dc * width_m))
            cell = moved(cell, int(codes[cell]))
            longest[cell] = max(longest[cell], walked)
    return longest


def reaches(codes: np.ndarray, counts: np.ndarray, threshold: int) -> list[list[Cell]]:
    """Vertices of every reach, downstream, with the junction below as the last one.

    A reach starts where a channel has no channel above it or several; the cell where water
    leaves the raster starts none.
    """
    channel = counts >= threshold
    found = []

    def starts(cell: Cell) -> bool:
        above = [n for n in upstream(codes, cell) if channel[n]]
        return len(above) != 1 and codes[cell] < OUTLET

    for cell in map(tuple, np.argwhere(channel).tolist()):
        if not starts(cell):
            continue
        line = [cell]
        while codes[line[-1]] < OUTLET:
            line.append(moved(line[-1], int(codes[line[-1]])))
            if starts(line[-1]):
                break
        found.append(line)
    return found


def strahler(lines: list[list[Cell]]) -> list[int]:
    """Order of each reach: one more than its donors' highest where two or more carry that."""
    by_end: dict[Cell, list[int]] = {}
    for i, line in enumerate(lines):
        by_end.setdefault(line[-1], []).append(i)

    def order(i: int) -> int:
        above = sorted((order(j) for j in by_end.get(lines[i][0], [])), reverse=True)
        if not above:
            return 1
        return above[0] + (len(above) > 1 and above[1] == above[0])

    return [order(i) for i in range(len(lines))]


def main_donor(codes: np.ndarray, counts: np.ndarray, cell: Cell) -> Cell | None:
    """Donor with the most cells behind it, the first of equals clockwise from north."""
    best = None
    for near in upstream(codes, cell):
        if best is None or counts[near] > counts[best]:
            best = near
    return best


def stems(
    codes: np.ndarray, counts: np.ndarray, threshold: int, top: int
) -> list[tuple[list[Cell], Cell | None]]:
    """Cells of each stem from its lower end up, and the cell of the larger stem it joins."""
    found = []
    for cell in map(tuple, np.argwhere(counts >= threshold).tolist()):
        joins = moved(cell, int(codes[cell])) if codes[cell] < OUTLET else None
        if joins is not None and main_donor(codes, counts, joins) == cell:
            continue
        line = [cell]
        while (near := main_donor(codes, counts, line[-1])) is not None and counts[near] >= top:
            line.append(near)
        found.append((line, joins))
    return found
