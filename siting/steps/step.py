"""Processing steps that can be run alone: each declares its inputs, settings and results.

The command line, its checks, its help and the page ``cli/STEPS.md`` are all made from the
declaration, so a step only has to be written down once. Steps are found through the entry-point
group ``gullywalk.steps``; those that come with the package register in the same way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from siting.floods.rainfall import Rainfall
from terrain.values.errors import ParameterError
from terrain.values.plugins import STEPS, PluginError, Plugins, call_plugin, load_plugins
from terrain.values.progress import Progress, silent
from terrain.values.raster import Raster

KIND = "processing step"

Value = float | int | str | bool | None
Values = Mapping[str, Value]
ParameterKind = Literal["number", "whole", "text", "choice", "switch"]
InputName = Literal["dem", "points", "boundary", "rain"]
OutputKind = Literal["raster", "layer", "table"]

KIND_WORDS: Mapping[ParameterKind, str] = {
    "number": "a number",
    "whole": "a whole number",
    "text": "a text",
    "choice": "one of the choices",
    "switch": "yes or no",
}


@dataclass(frozen=True, slots=True)
class Parameter:
    """One setting of a step.

    Parameters
    ----------
    name
        Ends in its unit, where it has one.
    kind
        ``number``, ``whole``, ``text``, ``choice`` or ``switch``.
    meaning
        One plain sentence.
    unit
        Unit in words.
    default
        Value when nothing is given; None where the step then decides by itself.
    without
        What the step does when nothing is given, in words; only where the default is None.
    low, high
        Least and greatest value, both allowed.
    choices
        Allowed texts of a ``choice``.

    Raises
    ------
    ParameterError
        A name that is none in Python, choices without a choice, or a default that is not allowed.
    """

    name: str
    kind: ParameterKind
    meaning: str
    unit: str = ""
    default: Value = None
    without: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.name.isidentifier():
            raise ParameterError(f"a parameter named '{self.name}'", expected="a Python name")
        if (self.kind == "choice") != bool(self.choices):
            raise ParameterError(f"{self.name} with choices {self.choices}", expected="of a choice")
        if self.default is not None:
            self.check(self.default)

    @property
    def range_words(self) -> str:
        """Allowed values in words, or nothing."""
        if self.choices:
            return ", ".join(self.choices)
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g}"
        if self.low is not None:
            return f"{self.low:g} or more"
        return f"at most {self.high:g}" if self.high is not None else ""

    def check(self, value: Value) -> Value:
        """Return a value in its own type, or raise.

        Raises
        ------
        ParameterError
            It is of another kind or outside the range.
        """
        if value is None:
            return self.default
        if not self._fits(value):
            words = KIND_WORDS[self.kind] + (f", {self.range_words}" if self.range_words else "")
            found = f"{value:g}" if isinstance(value, float) else f"{value!r}"
            raise ParameterError(f"{self.name} of {found}", expected=words)
        if self.kind == "number" and isinstance(value, int | float):
            return float(value)
        return int(value) if self.kind == "whole" and isinstance(value, float) else value

    def _fits(self, value: Value) -> bool:
        """Whether a value is of the declared kind and within the range."""
        if self.kind == "switch":
            return isinstance(value, bool)
        if self.kind in ("text", "choice"):
            return isinstance(value, str) and (not self.choices or value in self.choices)
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False
        if not math.isfinite(value) or (self.kind == "whole" and value != int(value)):
            return False
        low, high = self.low, self.high
        return (low is None or value >= low) and (high is None or value <= high)


@dataclass(frozen=True, slots=True)
class Input:
    """One thing a step reads: ``dem``, ``points``, ``boundary`` or ``rain``."""

    name: InputName
    meaning: str
    required: bool = True


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table that a step gives."""

    name: str
    meaning: str
    decimals: int = 2


@dataclass(frozen=True, slots=True)
class Output:
    """One thing a step gives.

    Parameters
    ----------
    name
        Short name; the first output is the step's main one.
    kind
        ``raster`` (an array on the raster's grid, written as a cloud-optimised GeoTIFF), ``layer``
        (geometries and columns of a layer of the plan, written as a GeoPackage) or ``table``
        (columns, written as CSV).
    meaning
        One plain sentence.
    unit
        Unit of a raster's numbers.
    nodata
        What stands in a raster's missing cells; None where there are none.
    layer
        Name of the plan's layer whose fields a ``layer`` keeps to.
    columns
        Columns of a ``table``.
    """

    name: str
    kind: OutputKind
    meaning: str
    unit: str = ""
    nodata: float | None = None
    layer: str = ""
    columns: tuple[Column, ...] = ()

    @property
    def ending(self) -> str:
        """Ending of the file's name."""
        return {"raster": ".tif", "layer": ".gpkg", "table": ".csv"}[self.kind]


@dataclass(frozen=True, slots=True, eq=False)
class StepData:
    """What a step is given to work on.

    Parameters
    ----------
    raster
        Elevations, m.
    points_xy
        Points in the raster's coordinate system, m, shape ``(n, 2)``; None where the step takes
        none.
    boundary
        Ranch polygon in the same system, or None.
    rainfall
        Rainfall table, or None.
    """

    raster: Raster
    points_xy: NDArray[np.float64] | None = None
    boundary: Any = None
    rainfall: Rainfall | None = None


Run = Callable[[StepData, Values, Progress], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Step:
    """One processing step.

    Parameters
    ----------
    name
        Lower case, words joined with hyphens.
    title
        What it does in a few words.
    meaning
        What it does and how, in plain sentences.
    inputs, parameters, outputs
        What it takes, how it is set, what it gives.
    run
        Called with the data, all parameters (checked, defaults filled in) and a progress callback;
        returns every output by name: an array for a raster, an object with ``geometry`` and
        ``columns`` for a layer, a mapping of columns for a table.

    Raises
    ------
    ParameterError
        Two of one name, or no output.
    """

    name: str
    title: str
    meaning: str
    inputs: tuple[Input, ...]
    parameters: tuple[Parameter, ...]
    outputs: tuple[Output, ...]
    run: Run = field(repr=False)

    def __post_init__(self) -> None:
        for what, declared in (
            ("parameter", self.parameters),
            ("input", self.inputs),
            ("output", self.outputs),
        ):
            names = [str(d.name) for d in declared]
            twice = sorted({n for n in names if names.count(n) > 1})
            if twice:
                raise ParameterError(f"step {self.name} with two {what}s named {twice[0]}")
        if not self.outputs:
            raise ParameterError(f"step {self.name} without outputs", expected="at least one")

    def values(self, given: Values) -> dict[str, Value]:
        """Check the parameters given and fill in the others.

        Raises
        ------
        ParameterError
            An unknown name, a wrong kind, or a value outside its range.
        """
        known = {p.name: p for p in self.parameters}
        odd = sorted(set(given) - set(known))
        if odd:
            raise ParameterError(
                f"step {self.name} has no parameter {', '.join(odd)}",
                expected=", ".join(known) or "none",
            )
        return {name: p.check(given.get(name)) for name, p in known.items()}

    def check_data(self, data: StepData) -> None:
        """Make sure that every required input is there.

        Raises
        ------
        ParameterError
            One is missing.
        """
        there: Mapping[str, Any] = {
            "dem": data.raster,
            "points": data.points_xy,
            "boundary": data.boundary,
            "rain": data.rainfall,
        }
        for wanted in self.inputs:
            if wanted.required and there[wanted.name] is None:
                raise ParameterError(
                    f"step {self.name} without {wanted.name}", expected=wanted.meaning
                )


def all_steps() -> Plugins[Step]:
    """Load all processing steps of the installed packages."""
    return load_plugins(STEPS, kind=KIND, check=_no_step)


def _no_step(plugin: object) -> str:
    return "" if isinstance(plugin, Step) else "it is no declared step."


def run_step(
    step: Step, data: StepData, given: Values | None = None, *, progress: Progress = silent
) -> dict[str, Any]:
    """Run one step: check what goes in, run it, check what comes out.

    Parameters
    ----------
    step
        The step.
    data
        What it works on.
    given
        Parameters by name; the others keep their defaults.
    progress
        Told how far the work is.

    Returns
    -------
    dict
        Every declared output by name.

    Raises
    ------
    ParameterError
        A parameter or an input that the declaration does not allow.
    PluginError
        The step failed, or did not give what it declares.
    """
    values = step.values(given or {})
    step.check_data(data)
    results = dict(call_plugin(KIND, step.name, lambda: step.run(data, values, progress)))
    for output in step.outputs:
        fault = _fault(output, results.get(output.name), data.raster)
        if fault:
            raise PluginError(
                f"the {KIND} '{step.name}' gave {output.name} {fault}",
                expected=f"the {output.kind} that it declares",
                do="tell the people who wrote it",
            )
    return results


def _fault(output: Output, result: Any, raster: Raster) -> str:
    """Say what is wrong with a result, or nothing."""
    if result is None:
        return "not at all"
    if output.kind == "raster":
        shape = getattr(result, "shape", None)
        return "" if shape == raster.grid.shape else f"with shape {shape}"
    if output.kind == "layer":
        return "" if hasattr(result, "geometry") and hasattr(result, "columns") else "as no layer"
    missing = [c.name for c in output.columns if c.name not in result]
    return f"without {', '.join(missing)}" if missing else ""
