"""Options that commands share, and what they say about a recording, over what its session file says."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from mocap.errors import OptionError

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


def _noise(_context: click.Context, _parameter: click.Parameter, value: float) -> float:
    from mocap.importer.keypoints import check_noise

    try:
        check_noise(value)
    except OptionError as error:
        raise OptionError(f"--{error}") from None
    return value


NOISE = (
    click.option(
        "--noise",
        "noise_px",
        type=float,
        default=1.0,
        show_default=True,
        callback=_noise,
        help="Of a sure point, in pixels.",
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


def takes(*groups: tuple[Callable[[Command], Command], ...]) -> Callable[[Command], Command]:
    """Decorator that gives a command groups of options, in this order in its help."""

    def decorate(command: Command) -> Command:
        for option in reversed([option for group in groups for option in group]):
            command = option(command)
        return command

    return decorate


def day_of(text: str | None, option: str) -> date | None:
    """A day as the user wrote it after an option.

    Raises
    ------
    OptionError
        It is no date.
    """
    from datetime import date

    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        raise OptionError(f"{option} {text!r} is not a date; give e.g. 2026-03-14") from None


def calibration_of(recording: Recording) -> Capture | None:
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


def who_and_how(file: Path, options: dict[str, Any]) -> tuple[Recording, Units]:
    """What is known of a recording, and units: from the session file beside it, overridden by the options."""
    from mocap.importer.session import Recording, find_session, read_session
    from mocap.swing import Hitter, Setup

    listed = _session_recording(file)
    units: Units = read_session(find_session(file) or file).units if listed else "metric"
    return overridden(listed or Recording(file, Hitter(), Setup(), "live"), options), units


def overridden(recording: Recording, options: dict[str, Any]) -> Recording:
    """A recording as its session describes it, the options of `HITTER`, `SETUP` and `MODEL` over that.

    Raises
    ------
    OptionError
        An option says nothing that can be used.
    """
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
    moments = moments_of(options["moments"])
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


def moments_of(texts: tuple[str, ...], option: str = "--moment") -> dict[str, int]:
    """NAME=FRAME pairs.

    Raises
    ------
    OptionError
        One is not that, or a name comes twice.
    """
    pairs = [_moment(text, option) for text in texts]
    twice = next((name for name, _ in pairs if [other for other, _ in pairs].count(name) > 1), None)
    if twice is not None:
        raise OptionError(
            f"{option} {twice} is given twice; give it once, and of several swings one at a time (--swing)"
        )
    return dict(pairs)


def _moment(text: str, option: str) -> tuple[str, int]:
    name, _, frame = text.partition("=")
    try:
        return name.strip(), int(frame)
    except ValueError:
        raise OptionError(f"{option} {text!r} is not NAME=FRAME; give e.g. plant=120") from None
