"""The `mocap` command: parses, calls, prints. Everything it does, the package's public functions do."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from mocap import __version__
from mocap.errors import MocapError, OptionError

if TYPE_CHECKING:
    from datetime import date

    from mocap.capture import Capture
    from mocap.display import Units
    from mocap.importer.session import Recording
    from mocap.swing import Pitch

Command = TypeVar("Command", bound=Callable[..., Any])

HITTER = (
    click.option("--height", type=float, metavar="M", help="Standing height in metres, e.g. 1.80."),
    click.option("--mass", type=float, metavar="KG", help="Body mass in kilograms."),
    click.option(
        "--bats", type=click.Choice(["right", "left"]), help="Side of the plate; found from the turn if left out."
    ),
    click.option("--sex", type=click.Choice(["male", "female"]), help="Which segment masses apply."),
    click.option("--name", help="Name or number shown on pictures."),
)
SETUP = (
    click.option("--pitcher", metavar="X,Y,Z", help="Direction to the pitcher in the lab's axes, e.g. 1,0,0."),
    click.option("--plate", metavar="X,Y,Z", help="Rear tip of home plate in the lab's axes, in metres."),
    click.option(
        "--pitch-angle", type=float, metavar="DEG", help="Descent of the pitch at the plate; downward is negative."
    ),
    click.option(
        "--pitch-location",
        type=click.Choice(["inside", "middle", "away"]),
        help="Where the pitch crosses the plate, which says how deep it is met.",
    ),
    click.option("--pitch-speed", metavar="SPEED", help="Pitch's speed at release, e.g. 88mph, 39m/s or 140km/h."),
    click.option("--release-height", type=float, metavar="M", help="Height at which the pitch is let go, in metres."),
    click.option(
        "--release-distance",
        metavar="M|NAME",
        help='Where it is let go, in metres from the plate\'s rear tip; or a pitching distance, e.g. "youth 46 ft".',
    ),
    click.option("--sport", type=click.Choice(["baseball", "softball"]), help="Whose ball, bat and pitch."),
    click.option("--held", is_flag=True, help="A landing position is held, as in a drill; there is no swing."),
    click.option(
        "--moment", "moments", multiple=True, metavar="NAME=FRAME", help="Set a moment by hand, frames from 0."
    ),
)
MODEL = (
    click.option(
        "--hip", type=click.Choice(["auto", "harrington", "davis", "hara"]), help="Regression of the hip centres."
    ),
    click.option(
        "--inertia", type=click.Choice(["auto", "de_leva", "winter", "children"]), help="Table of segment masses."
    ),
    click.option("--bat-mass", type=float, metavar="KG", help="Count the bat into the centre of mass."),
    click.option(
        "--cutoff", type=float, metavar="HZ", help="Cut-off of the low-pass; chosen for each point if left out."
    ),
    click.option("--marker-set", metavar="FILE", help="A marker set of your own (TOML)."),
    click.option(
        "--calibration",
        type=click.Path(path_type=Path),
        help="A trial in which hips and shoulders circle, or with markers or bat points that the swing lacks.",
    ),
)
ONE = (click.option("--swing", type=int, metavar="N", help="Of a recording of several swings the N-th alone."),)
RESULT = (
    click.option("--limits", type=click.Path(path_type=Path), help="A table of limits of your own (TOML)."),
    click.option(
        "--units", type=click.Choice(["metric", "imperial"]), help="Units of what you read.  [default: metric]"
    ),
)


def _with(*groups: tuple[Callable[[Command], Command], ...]) -> Callable[[Command], Command]:
    def decorate(command: Command) -> Command:
        for option in reversed([option for group in groups for option in group]):
            command = option(command)
        return command

    return decorate


class _OneLine(click.Group):
    """A group whose known errors end as one line on standard error, with exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
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
@_with(HITTER, SETUP, MODEL)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def inspect(file: Path, as_json: bool, **options: Any) -> None:
    """Show what is in FILE, how good it is, and whether a swing can be measured from it."""
    from mocap.importer import read
    from mocap.kinematics.inspection import inspect as look_over

    recording, _ = _who_and_how(file, options)
    inspection = look_over(read(file), recording.hitter, recording.setup, _calibration(recording))
    if as_json:
        from mocap.results import inspection_object

        _print_json(inspection_object(inspection))
        return
    from mocap.tables import print_inspection

    print_inspection(inspection)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@_with(HITTER, SETUP, MODEL, ONE, RESULT)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def measure(
    file: Path, as_json: bool, limits: Path | None, units: Units | None, swing: int | None, **options: Any
) -> None:
    """Find the moments of the swing in FILE, and print its measures and checks; of several swings, of each."""
    from dataclasses import replace

    from mocap.several_swings import measure_each, print_each, several_object

    recording, session_units = _who_and_how(file, options)
    measured = measure_each(replace(recording, file=file), limits=limits, units=units or session_units, only=swing)
    if as_json:
        _print_json(several_object(measured, file.name))
        return
    print_each(measured, units or session_units)


@main.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), required=True, help="Folder for the results.")
@_with(HITTER, SETUP, MODEL, ONE, RESULT)
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

    PATH is a recording (C3D, TRC, CSV), or a session folder (every swing it lists, each in a folder of its own). Of a
    recording of several swings each gets a folder of its own.
    """
    from mocap.job import jobs_of, run_jobs

    if path.is_dir() or path.suffix.lower() == ".toml":
        from mocap.importer.session import read_session

        if swing is not None:
            raise OptionError(f"--swing goes with one recording, and {path} is a session; give the recording's file")
        session = read_session(path)
        recordings = [_overridden(recording, options) for recording in session.recordings]
        per_file = [jobs_of(each, units or session.units, out / each.file.stem) for each in recordings]
        jobs = [job for jobs in per_file for job in jobs]
    else:
        recording, session_units = _who_and_how(path, options)
        jobs = jobs_of(recording, units or session_units, out, swing)
    for folder in run_jobs(jobs, reference=reference, limits=limits, replace=replace):
        click.echo(f"results in {folder}")


@main.command()
@click.argument("session", type=click.Path(path_type=Path))
@click.option("--hitter", metavar="ID", help="One hitter alone, by his id or name.")
@click.option("--from", "first", metavar="DATE", help="First date to take, e.g. 2026-03-14.")
@click.option("--to", "last", metavar="DATE", help="Last date to take.")
@_with(RESULT)
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
    recordings = chosen(listed, hitter, _date(first, "--from"), _date(last, "--to"))
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


def _date(text: str | None, option: str) -> date | None:
    from datetime import date

    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise OptionError(f"{option} {text!r} is not a date; give e.g. 2026-03-14") from None


def _calibration(recording: Recording) -> Capture | None:
    """The hitter's calibration trial, where one is named."""
    from mocap.importer import read

    return read(recording.calibration) if recording.calibration else None


def _session_recording(file: Path) -> Recording | None:
    """The row of a session file beside a recording that lists it."""
    from mocap.importer.session import find_session, read_session

    source = find_session(file)
    if source is None or not file.is_file():
        return None
    rows = [row for row in read_session(source).recordings if row.file.name == file.name]
    return rows[0] if rows else None


def _who_and_how(file: Path, options: dict[str, Any]) -> tuple[Recording, Units]:
    """What is known of a recording, and units: from the session file beside it, overridden by the options."""
    from mocap.importer.session import Recording, find_session, read_session
    from mocap.swing import Hitter, Setup

    listed = _session_recording(file)
    units: Units = read_session(find_session(file) or file).units if listed else "metric"
    return _overridden(listed or Recording(file, Hitter(), Setup(), "live"), options), units


def _overridden(recording: Recording, options: dict[str, Any]) -> Recording:
    from dataclasses import replace

    def given(**values: Any) -> dict[str, Any]:
        return {key: value for key, value in values.items() if value is not None}

    person = given(
        height_m=options["height"],
        mass_kg=options["mass"],
        bats=options["bats"],
        sex=options["sex"],
        name=options["name"],
    )
    model = given(
        hip=options["hip"],
        inertia=options["inertia"],
        bat_kg=options["bat_mass"],
        cutoff_hz=options["cutoff"],
        marker_set=options["marker_set"],
    )
    way = given(
        pitcher=_vector(options["pitcher"], "--pitcher"),
        plate=_vector(options["plate"], "--plate"),
        pitch_angle_deg=options["pitch_angle"],
        pitch_location=options["pitch_location"],
        sport=options["sport"],
    )
    moments = _moments(options["moments"])
    setup = replace(
        recording.setup,
        **way | _pitch(recording.setup.pitch, options),
        held=recording.setup.held or options["held"],
        moments={**recording.setup.moments, **moments},
        model=replace(recording.setup.model, **model),
    )
    hitter = replace(recording.hitter, **person)
    return replace(recording, hitter=hitter, setup=setup, **given(calibration=options["calibration"]))


def _vector(text: str | None, option: str) -> tuple[float, float, float] | None:
    if text is None:
        return None
    try:
        x, y, z = (float(part) for part in text.split(","))
    except ValueError:
        raise OptionError(f"{option} {text!r} is not three numbers; give e.g. 1,0,0") from None
    return x, y, z


def _pitch(listed: Pitch | None, options: dict[str, Any]) -> dict[str, Any]:
    """The pitch as the options tell it, over the session's; what they tell goes before an angle in the session."""
    from dataclasses import replace

    from mocap.swing import Pitch

    values = {
        ("--pitch-speed", "speed_m_s"): _speed(options["pitch_speed"]),
        ("--release-height", "release_height_m"): options["release_height"],
        ("--release-distance", "release_distance_m"): _release_distance(options["release_distance"]),
    }
    missing = [option for (option, _), value in values.items() if value is None]
    told = {key: value for (_, key), value in values.items() if value is not None}
    if not told:
        return {}
    if options["pitch_angle"] is not None:
        raise OptionError("--pitch-angle is given, and also how the ball was thrown; give one of the two")
    if listed is not None:
        return {"pitch": replace(listed, **told), "pitch_angle_deg": None}
    if missing:
        raise OptionError(f"how the ball was thrown is told in part only; add {' and '.join(missing)}")
    return {"pitch": Pitch(**told), "pitch_angle_deg": None}


def _speed(text: str | None) -> float | None:
    from mocap.display import MPH_M_PER_S

    if text is None:
        return None
    for unit, metres_per_second in (("mph", MPH_M_PER_S), ("km/h", 1.0 / 3.6), ("m/s", 1.0)):
        if text.endswith(unit):
            try:
                return float(text.removesuffix(unit)) * metres_per_second
            except ValueError:
                break
    raise OptionError(f"--pitch-speed {text!r} is not a speed with its unit; give e.g. 88mph, 39m/s or 140km/h")


def _release_distance(text: str | None) -> float | None:
    from mocap.pitching import release_distance

    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        return release_distance(text)


def _moments(texts: tuple[str, ...]) -> dict[str, int]:
    pairs = [_moment(text) for text in texts]
    twice = next((name for name, _ in pairs if [other for other, _ in pairs].count(name) > 1), None)
    if twice is not None:
        raise OptionError(
            f"--moment {twice} is given twice; give it once, and of several swings one at a time (--swing)"
        )
    return dict(pairs)


def _moment(text: str) -> tuple[str, int]:
    name, _, frame = text.partition("=")
    try:
        return name.strip(), int(frame)
    except ValueError:
        raise OptionError(f"--moment {text!r} is not NAME=FRAME; give e.g. plant=120") from None


def _print_json(value: dict[str, Any]) -> None:
    import json

    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
