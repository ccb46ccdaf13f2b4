"""Curve numbers from what grows on the ground and the soil under it.

The table is a data file (``curve_numbers.toml``: TR-55 tables 2-2c and 2-2d, and the codes of the
national land-cover map); a user's own file has the same form. Hydrologic soil groups run from A
(water sinks in fast) to D (hardly at all). Dual groups such as A/D are the first letter where the
ground is drained and D where it is not; rangeland is taken as not drained unless the caller says
otherwise.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from siting.floods.data_files import data_file
from siting.floods.flood_errors import CurveNumberError
from siting.floods.runoff import check_curve_number
from terrain.values.arrays import BoolArray, FloatArray, frozen, frozen_mask

SOIL_GROUPS: Final = ("A", "B", "C", "D")
CONDITIONS: Final = ("poor", "fair", "good")
NO_GROUP: Final = -1
# Ways the absence of a soil group is written in soil surveys.
_BLANK: Final = frozenset({"", "NONE", "NULL", "NAN", "N/A"})


@dataclass(frozen=True, slots=True)
class Cover:
    """One kind of cover: curve numbers by condition (rows) and soil group (columns A to D).

    ``numbers`` has the shape ``(3, 4)``.
    """

    name: str
    title: str
    table: str
    numbers: FloatArray


@dataclass(frozen=True, slots=True)
class CoverTable:
    """Covers by name, and the map codes that stand for them (codes as text)."""

    covers: Mapping[str, Cover]
    codes: Mapping[str, str]
    name: str

    def cover(self, cover_or_code: str | int) -> Cover:
        """Return a cover by its name or map code.

        Raises
        ------
        CurveNumberError
            When neither is known.
        """
        key = code_text(cover_or_code)
        name = self.codes.get(key, key)
        if name not in self.covers:
            raise CurveNumberError(
                f"cover '{cover_or_code}' is not in {self.name}",
                expected=f"a cover ({', '.join(self.covers)}) or a code ({', '.join(self.codes)})",
                do="add it to a cover table of your own",
            )
        return self.covers[name]

    def curve_number(
        self, cover_or_code: str | int, soil_group: str, *, condition: str, drained: bool = False
    ) -> float:
        """Return the curve number of one cover on one soil.

        Raises
        ------
        CurveNumberError
            For an unknown cover, group or condition, or a pair without a number.
        """
        cover = self.cover(cover_or_code)
        group = soil_group_index(soil_group, drained=drained)
        number = np.nan if group == NO_GROUP else cover.numbers[_condition(condition), group]
        if np.isnan(number):
            raise CurveNumberError(
                f"no curve number for {cover.name} on soil group '{soil_group}'",
                expected=f"a soil group with a number in {cover.table}",
            )
        return float(number)


@dataclass(frozen=True, slots=True)
class CurveNumbers:
    """Curve numbers of cells or pieces of ground, of any shape, and what could not be looked up.

    Parameters
    ----------
    values
        Curve numbers, NaN where there is none.
    from_group_b
        True where the soil is group A, the table has no number for it and that of group B was used,
        which is too high rather than too low (common practice, no published source).
    """

    values: FloatArray
    from_group_b: BoolArray


def soil_group_index(soil_group: str | None, *, drained: bool = False) -> int:
    """Return 0 to 3 for groups A to D, or -1 where none is given; A/D and so on are dual groups.

    Raises
    ------
    CurveNumberError
        For anything else, such as group E.
    """
    text = "" if soil_group is None else str(soil_group).strip().upper()
    if text in _BLANK:
        return NO_GROUP
    first, slash, second = text.partition("/")
    letter = first.strip() if drained or not slash else second.strip()
    dual = not slash or (first.strip() in SOIL_GROUPS and second.strip() == "D")
    if letter not in SOIL_GROUPS or not dual:
        raise CurveNumberError(
            f"hydrologic soil group '{soil_group}'",
            expected="A, B, C, D, or a dual group A/D, B/D or C/D",
            do="check the column of the soil map that holds the group",
        )
    return SOIL_GROUPS.index(letter)


def curve_numbers(
    cover_codes: npt.ArrayLike,
    soil_groups: npt.ArrayLike,
    *,
    condition: str = "fair",
    table: CoverTable | None = None,
    no_cover_code: str | int | None = 0,
) -> CurveNumbers:
    """Look up curve numbers for arrays of cover codes and soil-group indices of one shape.

    Parameters
    ----------
    cover_codes
        Map codes (whole numbers) or names (text) of the cover of each cell.
    soil_groups
        Group indices from `soil_group_index`, -1 where there is none.
    condition
        poor, fair or good, where the cover has conditions.
    table
        Cover table; the built-in one by default.
    no_cover_code
        Code that stands for no cover.

    Raises
    ------
    CurveNumberError
        For an unknown condition, a group index outside -1 to 3, or arrays of different shapes.
    """
    table = table or built_in_covers()
    row = _condition(condition)
    codes, groups = np.asarray(cover_codes), np.asarray(soil_groups)
    if codes.shape != groups.shape:
        raise CurveNumberError(
            f"cover of shape {codes.shape} on soils of shape {groups.shape}", expected="one shape"
        )
    if groups.size and (groups.min() < NO_GROUP or groups.max() >= len(SOIL_GROUPS)):
        raise CurveNumberError("a soil-group index outside -1 to 3", expected="soil_group_index()")
    kinds, which = _kinds(codes)
    # One row a code and one column a group, the last column for cells without a group.
    lookup = np.full((kinds.size, len(SOIL_GROUPS) + 1), np.nan)
    from_b = np.zeros(lookup.shape, dtype=np.bool_)
    for n, kind in enumerate(kinds):
        key = code_text(kind.item())
        if key in ("", code_text(no_cover_code)):
            continue
        cover = table.covers.get(table.codes.get(key, key))
        if cover is None:
            continue
        lookup[n, : len(SOIL_GROUPS)] = cover.numbers[row]
        if np.isnan(lookup[n, 0]):
            lookup[n, 0] = lookup[n, 1]
            from_b[n, 0] = True
    return CurveNumbers(
        values=frozen(lookup[which, groups]),
        from_group_b=frozen_mask(from_b[which, groups]),
    )


@functools.cache
def built_in_covers() -> CoverTable:
    """Return the covers that come with the package."""
    return parse_covers(data_file("curve_numbers.toml"), name="the built-in cover table")


def read_covers(path: str | Path) -> CoverTable:
    """Read a user's own cover table (TOML, in the form of ``curve_numbers.toml``).

    Raises
    ------
    CurveNumberError
        When the file cannot be read or holds something else.
    """
    path = Path(path)
    try:
        content = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CurveNumberError(
            f"{path.name} cannot be read as TOML ({error})", expected="a table of covers"
        ) from error
    return parse_covers(content, name=path.name)


def parse_covers(content: Mapping[str, Any], *, name: str) -> CoverTable:
    """Check the content of a cover table and build it.

    Raises
    ------
    CurveNumberError
        Naming the cover, code or number at fault.
    """
    rows = content.get("cover")
    if not isinstance(rows, dict) or not rows or set(content) - {"cover", "codes"}:
        raise CurveNumberError(
            f"{name} is not a cover table", expected="[cover.NAME] tables and one [codes] table"
        )
    covers = {key: _cover(key, row, where=f"{name}, cover '{key}'") for key, row in rows.items()}
    codes = {str(code): str(cover) for code, cover in content.get("codes", {}).items()}
    for code, cover in codes.items():
        if cover not in covers:
            raise CurveNumberError(
                f"{name}: code {code} stands for cover '{cover}', which is not in the file",
                expected=f"one of {', '.join(covers)}",
            )
    return CoverTable(covers, codes, name)


def code_text(code: object) -> str:
    """Write a map code as text: 71, 71.0 and "71" are the same code."""
    if isinstance(code, float) and code.is_integer():
        code = int(code)
    return "" if code is None else str(code).strip()


def _kinds(
    codes: npt.NDArray[Any],
) -> tuple[npt.NDArray[Any], npt.NDArray[np.intp]]:
    """Return the different codes, and which of them each cell has."""
    if (
        np.issubdtype(codes.dtype, np.integer)
        and codes.size
        and 0 <= codes.min() <= codes.max() < 4096
    ):
        # A raster of small codes: counting is many times faster than sorting.
        counts = np.bincount(codes.ravel())
        kinds = np.flatnonzero(counts)
        place = np.zeros(counts.size, dtype=np.intp)
        place[kinds] = np.arange(kinds.size)
        return kinds, place[codes]
    kinds, which = np.unique(codes, return_inverse=True)
    return kinds, which.reshape(codes.shape)


def _cover(name: str, row: Mapping[str, Any], *, where: str) -> Cover:
    given = set(row) - {"title", "table"}
    if given not in ({"any"}, set(CONDITIONS)):
        raise CurveNumberError(
            f"{where} has {', '.join(sorted(given)) or 'no numbers'}",
            expected="poor, fair and good, or any alone",
        )
    numbers = [_four(row[key], where=where) for key in _rows(given)]
    return Cover(name, str(row.get("title", name)), str(row.get("table", "")), frozen(numbers))


def _rows(given: Iterable[str]) -> tuple[str, ...]:
    return ("any",) * len(CONDITIONS) if "any" in given else CONDITIONS


def _four(values: object, *, where: str) -> FloatArray:
    try:
        numbers = np.array(values, dtype=np.float64)
    except (TypeError, ValueError):
        numbers = np.empty(0)
    if numbers.shape != (len(SOIL_GROUPS),):
        raise CurveNumberError(f"{where} has {values}", expected="four numbers, groups A to D")
    return check_curve_number(numbers)


def _condition(condition: str) -> int:
    if condition not in CONDITIONS:
        raise CurveNumberError(
            f"cover condition '{condition}'", expected=f"one of {', '.join(CONDITIONS)}"
        )
    return CONDITIONS.index(condition)
