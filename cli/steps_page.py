"""The page about processing steps, made from their declarations."""

from __future__ import annotations

from collections.abc import Iterable

from cli.commands.step import flag_of, out_flag
from siting.steps.step import KIND_WORDS, Parameter, Step, all_steps

_HEAD = """# Processing steps

Made from the declarations of the steps by `python -m cli.steps_page`; edit those, not this page.

`gullywalk step NAME DEM... --out FILE` runs one step alone. Every step also takes `--crs` and
`--vertical-unit` (how the raster is read), `--units`, `--overwrite`, `-v` and `-q`. Rasters are
written as cloud-optimised GeoTIFF on the raster's own grid in metres, layers as GeoPackage with the
fields listed in [FIELDS.md](FIELDS.md), tables as CSV. In Python: `siting.steps.step.run_step`.
"""


def _default(parameter: Parameter) -> str:
    if parameter.default is None:
        return parameter.without
    return "yes" if parameter.default is True else str(parameter.default)


def _of_step(step: Step) -> Iterable[str]:
    yield f"\n## `{step.name}`\n\n{step.title}. {step.meaning}\n"
    yield "| takes | what |\n|---|---|"
    for given in step.inputs:
        flag = "`DEM...`" if given.name == "dem" else f"`--{given.name}`"
        yield f"| {flag} | {given.meaning}{'' if given.required else ' (may be left out)'} |"
    if step.parameters:
        yield "\n| setting | kind | unit | allowed | without it | what |\n|---|---|---|---|---|---|"
    for p in step.parameters:
        cells = (KIND_WORDS[p.kind], p.unit, p.range_words, _default(p), p.meaning)
        yield f"| `{flag_of(p)}` | " + " | ".join(cells) + " |"
    yield "\n| gives | kind | unit | what |\n|---|---|---|---|"
    for output in step.outputs:
        kind = f"layer `{output.layer}`" if output.layer else output.kind
        flag = f"`{out_flag(step, output)} FILE{output.ending}`"
        yield f"| {flag} | {kind} | {output.unit} | {output.meaning} |"
    for output in step.outputs:
        if output.columns:
            yield f"\nColumns of `{output.name}`:"
            yield "; ".join(f"`{column.name}`: {column.meaning}" for column in output.columns) + "."


def steps_markdown(steps: Iterable[Step]) -> str:
    """Write the page of some steps as Markdown."""
    lines = [line for step in steps for line in _of_step(step)]
    return _HEAD + "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(steps_markdown(all_steps()), end="")
