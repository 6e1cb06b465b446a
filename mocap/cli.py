"""The `mocap` command: parses, calls, prints. Everything it does, the package's public functions do."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mocap import __version__
from mocap.cli_cameras import calibrate, sync
from mocap.cli_options import (
    HITTER,
    MODEL,
    ONE,
    RESULT,
    SETUP,
    calibration_of,
    day_of,
    overridden,
    takes,
    who_and_how,
)
from mocap.cli_pictures import film, still
from mocap.cli_triangulate import cameras, triangulate
from mocap.errors import MocapError, OptionError

if TYPE_CHECKING:
    from mocap.display import Units


class _OneLine(click.Group):
    """A group whose known errors end as one line on standard error, with exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        from mocap.output import ending_tidily

        try:
            with ending_tidily():
                return super().invoke(ctx)
        except MocapError as error:
            click.echo(f"mocap: {error}", err=True)
            ctx.exit(2)


@click.group(cls=_OneLine, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, prog_name="mocap")
def main() -> None:
    """Measure a hitter's swing, lay it over a reference of his height, and show it."""


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@takes(HITTER, SETUP, MODEL)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def inspect(file: Path, as_json: bool, **options: Any) -> None:
    """Show what is in FILE, how good it is, and whether a swing can be measured from it."""
    from mocap.importer import read
    from mocap.kinematics.inspection import inspect as look_over

    recording, _ = who_and_how(file, options)
    inspection = look_over(read(file), recording.hitter, recording.setup, calibration_of(recording))
    if as_json:
        from mocap.results import inspection_object

        _print_json(inspection_object(inspection))
        return
    from mocap.tables import print_inspection

    print_inspection(inspection)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@takes(HITTER, SETUP, MODEL, ONE, RESULT)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def measure(
    file: Path, as_json: bool, limits: Path | None, units: Units | None, swing: int | None, **options: Any
) -> None:
    """Find the moments of the swing in FILE, and print its measures and checks; of several swings, of each."""
    from dataclasses import replace

    from mocap.several_swings import measure_each, print_each, several_object

    recording, session_units = who_and_how(file, options)
    measured = measure_each(replace(recording, file=file), limits=limits, units=units or session_units, only=swing)
    if as_json:
        _print_json(several_object(measured, file.name))
        return
    print_each(measured, units or session_units)


@main.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), required=True, help="Folder for the results.")
@takes(HITTER, SETUP, MODEL, ONE, RESULT)
@click.option("--reference", default="standard", show_default=True, help="Name or file of the reference model.")
@click.option("--replace", is_flag=True, help="Replace results of the same names in the folder.")
def compare(
    path: Path,
    out: Path,
    limits: Path | None,
    units: Units | None,
    reference: str,
    replace: bool,
    swing: int | None,
    **options: Any,
) -> None:
    """Lay the swing in PATH over a reference of the same height: still, sheet, video, page and measures.

    PATH is a recording (C3D, TRC, CSV, or a TOML list of the cameras that filmed it), or a session folder (every swing
    it lists, each in a folder of its own). Of a recording of several swings each gets a folder of its own.
    """
    from mocap.importer.session import is_session, read_session
    from mocap.job import jobs_of, run_jobs

    if is_session(path):
        if swing is not None:
            raise OptionError(f"--swing goes with one recording, and {path} is a session; give the recording's file")
        session = read_session(path)
        recordings = [overridden(recording, options) for recording in session.recordings]
        per_file = [jobs_of(each, units or session.units, out / each.file.stem) for each in recordings]
        jobs = [job for jobs in per_file for job in jobs]
    else:
        recording, session_units = who_and_how(path, options)
        jobs = jobs_of(recording, units or session_units, out, swing)
    for folder in run_jobs(jobs, reference=reference, limits=limits, replace=replace):
        click.echo(f"results in {folder}")


@main.command()
@click.argument("session", type=click.Path(path_type=Path))
@click.option("--hitter", metavar="ID", help="One hitter alone, by his id or name.")
@click.option("--from", "first", metavar="DATE", help="First date to take, e.g. 2026-03-14.")
@click.option("--to", "last", metavar="DATE", help="Last date to take.")
@takes(RESULT)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write a table, too (CSV).")
@click.option("--replace", is_flag=True, help="Replace an older table.")
def season(
    session: Path,
    hitter: str | None,
    first: str | None,
    last: str | None,
    limits: Path | None,
    units: Units | None,
    as_json: bool,
    out: Path | None,
    replace: bool,
) -> None:
    """Put the dates of SESSION together: each hitter's level, his scatter, and what changed by more than noise."""
    from mocap.importer.session import read_session
    from mocap.season_job import chosen, measure_season, refuse_older, season_object, write_table

    listed = read_session(session)
    recordings = chosen(listed, hitter, day_of(first, "--from"), day_of(last, "--to"))
    if out is not None:
        refuse_older(out, replace)
    hitters = measure_season(recordings, limits=limits)
    if out is not None:
        write_table(hitters, out)
    if as_json:
        _print_json(season_object(listed, hitters))
        return
    from mocap.season_tables import print_season

    print_season(hitters, units or listed.units)


for command in (still, film, calibrate, sync, triangulate, cameras):
    main.add_command(command)


def _print_json(value: dict[str, Any]) -> None:
    import json

    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
