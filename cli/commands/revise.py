"""``gullywalk revise``: what was measured on site goes back into a plan."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from cli.options import (
    SectionCommand,
    check_distinct,
    json_option,
    option,
    overwrite_option,
    talk_options,
    tell_in,
)
from cli.progress_bar import Talk

if TYPE_CHECKING:
    from cli.plan.plan_reading import PlanFile
    from siting.revising.bias import Bias
    from siting.revising.changes import Change
    from siting.revising.field_rows import FieldTable
    from siting.revising.revise import Revised


@dataclass(frozen=True, slots=True)
class Job:
    """What the command line asked for."""

    plan: str
    field: str
    out: str
    report: str | None
    as_json: bool
    overwrite: bool


@click.command(
    cls=SectionCommand,
    short_help="Work a plan out again with what was measured on site.",
    epilog="The plan itself is never written. Every row from the field stays in the new plan, with "
    "what became of it.",
)
@click.argument("plan", metavar="PLAN.gpkg")
@click.argument("field", metavar="FIELD")
@option(
    "--out",
    required=True,
    metavar="FILE.gpkg",
    section="Output",
    help="The revised plan; it can be revised again.",
)
@option(
    "--report",
    metavar="FILE",
    section="Output",
    help="Write the change report too: .csv or .txt.",
)
@json_option
@overwrite_option
@talk_options
@click.pass_context
def revise(ctx: click.Context, /, **given: object) -> None:
    """Work a plan out again with what was measured on site.

    \b
    gullywalk revise plan.gpkg plan.gpkg --out plan2.gpkg
    gullywalk revise plan.gpkg measured.csv --out plan2.gpkg --report changes.csv

    FIELD is the plan, or a copy of it, with its layer field_notes filled in; or a CSV table with
    site_id and some of measured_width, measured_depth, measured_bankfull_depth, measured_drop,
    measured_slope (measured_slope_pct for percent), lon and lat or x and y, decision (build, skip,
    move, refer), soil, notes, photos, measured_by, measured_on. Names may end in _m or _ft, or a
    number say its unit: 3.2 ft; else the plan's units are taken.
    """  # noqa: D301 - the help needs the character itself
    job = Job(**given)  # type: ignore[arg-type]
    _check_usage(job)
    from cli.plan.plan_reading import read_plan
    from cli.revise.field_file import read_field_file
    from siting.revising.bias import biases
    from siting.revising.changes import changes_of

    plan = read_plan(job.plan, command="revise")
    tell_in(ctx, plan.units)
    table = read_field_file(job.field, plan.crs)
    revised = _revised(plan, table)
    changes = changes_of(revised)
    found = biases(revised.planned.records, revised.found)
    _say_unknown(table, ctx.ensure_object(Talk))
    _write(job, plan, revised, changes, found)
    _tell(job, plan, revised, changes, found)


def _check_usage(job: Job) -> None:
    from cli.plan.geopackage import check_target
    from cli.plan.safe_files import check_ending, check_file_target

    check_distinct([("PLAN", job.plan), ("--out", job.out), ("--report", job.report)])
    check_distinct([("FIELD", job.field), ("--out", job.out), ("--report", job.report)])
    check_target(job.out, job.overwrite)
    if job.report is not None:
        check_ending(job.report, ".csv", ".txt")
        check_file_target(job.report, overwrite=job.overwrite)


def _revised(plan: PlanFile, table: FieldTable) -> Revised:
    """Work out again with all rows, those of earlier revisions first."""
    from cli.revise.field_file import to_plan
    from siting.revising.revise import PlanParts
    from siting.revising.revise import revise as work_out
    from siting.revising.revised_tables import tables_given

    records = plan.rows("site_records")
    parts = PlanParts(
        records=[str(row["text"]) for row in sorted(records, key=lambda r: int(r["site_id"]))],
        settings={str(r["name"]): str(r["text"]) for r in plan.rows("settings_used")},
        length_unit="ft" if plan.units == "us" else "m",
        project=to_plan(plan.crs),
    )
    earlier: tuple[FieldTable, ...] = ()
    if "field_rows" in plan.layers and plan.layers["field_rows"].rows:
        columns = plan.layers["field_rows"].columns
        earlier = tables_given({name: values.tolist() for name, values in columns.items()})
    return work_out(parts, [*earlier, table])


def _say_unknown(table: FieldTable, talk: Talk) -> None:
    from siting.revising.field_rows import columns_of
    from siting.values.wording import listed

    unknown = [name for name in columns_of(table)[1] if name != "fid"]
    if unknown:
        named = listed([name[:60] for name in unknown[:8]])
        talk.say(f"Note: {table.source} has columns that are kept but not used: {named}.")


def _write(
    job: Job,
    plan: PlanFile,
    revised: Revised,
    changes: tuple[Change, ...],
    found: tuple[Bias, ...],
) -> None:
    """Write both files, or none: the report only takes its place once the plan is written."""
    from cli.plan.geopackage import write_geopackage
    from cli.plan.relief_layer import read_relief
    from cli.plan.safe_files import replacing
    from cli.plan.unit_sentences import all_in_units, in_units
    from cli.revise.change_report import report, report_csv, summary_of
    from cli.revise.revised_plan import revised_info, revised_layers, revised_tables

    work = revised.now.built.work(revised.settings.build.design_period_yr)
    info = revised_info(
        plan,
        revised,
        summary=in_units(summary_of(revised), plan.units),
        work=all_in_units(work, plan.units),
        field_file=job.field,
    )
    with ExitStack() as stack:
        if job.report is not None:
            part = stack.enter_context(replacing(job.report, overwrite=job.overwrite))
            write = report_csv if job.report.lower().endswith(".csv") else report
            text = write(revised, changes, found, units=plan.units)
            part.write_bytes(text.encode("utf-8"))
        write_geopackage(
            job.out,
            revised_layers(plan, revised),
            tables=[*revised_tables(plan, revised, changes, found), info],
            relief=read_relief(plan.path),
            overwrite=job.overwrite,
            units=plan.units,
        )


def _tell(
    job: Job,
    plan: PlanFile,
    revised: Revised,
    changes: tuple[Change, ...],
    found: tuple[Bias, ...],
) -> None:
    from cli.revise.change_report import report, report_json

    if job.as_json:
        files = {"plan": job.out, "report": job.report}
        text = report_json(revised, changes, found, units=plan.units, files=files)
        sys.stdout.write(text)
        return
    sys.stdout.write(report(revised, changes, found, units=plan.units))
    for path in (job.out, job.report):
        if path is not None:
            sys.stdout.write(f"Wrote {path}\n")
