"""Values of this package as JSON and back, with every number exactly as it was.

Dataclasses become objects, arrays lists with their kind; numbers that are not finite, which JSON
does not know, become texts. What a value should be is told by the type hints of its class.
"""

from __future__ import annotations

import dataclasses
import functools
import math
import types
import typing
from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

_KINDS: Mapping[str, type] = {"f": np.float64, "i": np.int64, "b": np.bool_, "O": object}
#: What a hint of an array comes from: the class itself, or from numpy 2.5 on the alias.
_ARRAYS = (np.ndarray, typing.get_origin(NDArray[np.float64]))


def packed(value: Any, *, without: frozenset[type] = frozenset()) -> Any:
    """Turn a value into what JSON can hold.

    Parameters
    ----------
    value
        A dataclass, array, tuple, shape, number, text, truth, or None.
    without
        Classes whose values are left out of the dataclasses that hold them.

    Raises
    ------
    TypeError
        Something else.
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if isinstance(value, np.ndarray):
        kind = value.dtype.kind.replace("u", "i")
        return {"kind": kind, "shape": list(value.shape), "values": packed(tuple(value.flat))}
    if isinstance(value, np.generic):
        return packed(value.item())
    if isinstance(value, BaseGeometry):
        return shapely.to_wkb(value, hex=True)
    if isinstance(value, tuple | list | frozenset):
        return [packed(v, without=without) for v in value]
    if dataclasses.is_dataclass(value):
        every = {f.name: getattr(value, f.name) for f in dataclasses.fields(value) if f.init}
        kept = {k: v for k, v in every.items() if type(v) not in without}
        return {name: packed(v, without=without) for name, v in kept.items()}
    raise TypeError(f"{type(value).__name__} cannot be packed")


def unpacked(kind: Any, data: Any, **given: Any) -> Any:
    """Build a value of a kind from what `packed` made of it.

    Parameters
    ----------
    kind
        Its class or type hint.
    data
        What `packed` returned, after a round through JSON.
    given
        Fields that were left out, for the outermost dataclass.

    Raises
    ------
    KeyError, TypeError, ValueError
        The data do not fit the kind.
    """
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        return _dataclass(kind, data, given)
    origin = typing.get_origin(kind)
    if origin in (types.UnionType, typing.Union):
        return None if data is None else unpacked(_without_none(kind), data)
    if origin is tuple:
        hints = typing.get_args(kind)
        if len(hints) == 2 and hints[1] is Ellipsis:
            return tuple(unpacked(hints[0], v) for v in data)
        return tuple(unpacked(h, v) for h, v in zip(hints, data, strict=True))
    if origin in _ARRAYS:
        return _array(data)
    if kind is float:
        return float(data)
    if kind is Any:  # outlines
        return data if data is None else shapely.from_wkb(data)
    if not isinstance(data, kind):
        raise TypeError(f"{type(data).__name__} where {kind} belongs")
    return data


def _dataclass(kind: Any, data: Mapping[str, Any], given: Mapping[str, Any]) -> Any:
    hints = _hints(kind)
    names = [f.name for f in dataclasses.fields(kind) if f.init and f.name not in given]
    return kind(**{n: unpacked(hints[n], data[n]) for n in names if n in data}, **given)


@functools.cache
def _hints(kind: Any) -> Mapping[str, Any]:
    """Type hints of a class: they are written as texts, and reading those takes longest."""
    return typing.get_type_hints(kind)


def _without_none(kind: Any) -> Any:
    (other,) = (h for h in typing.get_args(kind) if h is not types.NoneType)
    return other


def _array(data: Mapping[str, Any]) -> np.ndarray[Any, Any]:
    kind, values = data["kind"], data["values"]
    out: np.ndarray[Any, Any] = np.empty(len(values), dtype=_KINDS[kind])
    out[:] = [float(v) for v in values] if kind == "f" else values
    return out.reshape(data["shape"])
