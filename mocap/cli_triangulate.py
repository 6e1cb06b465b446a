"""`mocap triangulate` and `mocap cameras`: points in space from what cameras saw, and how well cameras stand for it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mocap.cli_options import NOISE, takes
from mocap.errors import OptionError
from mocap.showing import progress_of, refuse_older

if TYPE_CHECKING:
    from mocap.importer.camera_placement import Volume
    from mocap.importer.filmed import Clocks

CAGE = (
    click.option("--plate", metavar="X,Y,Z", help="Rear tip of home plate, in the cameras' axes, in metres."),
    click.option("--pitcher", metavar="X,Y,Z", help="Direction toward the pitcher, in the cameras' axes."),
    click.option("--bats", type=click.Choice(["right", "left"]), default="right", help="Side of the hitter."),
)
RESULT = (
    click.option("--page", type=click.Path(path_type=Path, dir_okay=False), help="Write a page, too (HTML)."),
    click.option("--replace", is_flag=True, help="Replace older files of those names."),
)


@click.command()
@click.option("--camera", "cameras", multiple=True, required=True, type=click.Path(path_type=Path), help="Two or more.")
@click.option(
    "--keypoints",
    multiple=True,
    required=True,
    type=click.Path(path_type=Path),
    help="What each camera saw: a table frame,point,u,v,confidence, or a folder of a pose estimator's JSON files.",
)
@click.option(
    "--bat", "bats_ends", multiple=True, type=click.Path(path_type=Path), help="The bat's ends, where not among them."
)
@click.option(
    "--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="File to write: .csv or .c3d."
)
@click.option(
    "--clocks",
    type=click.Choice(["given", "find"]),
    default="given",
    show_default=True,
    help="Whether the camera files say when pictures were taken, or the swing has to.",
)
@click.option("--until", "until_s", type=float, metavar="S", help="Leave out what was filmed after this time.")
@click.option(
    "--contact",
    "contact_s",
    type=float,
    metavar="S",
    help="When bat met ball, by the first camera's clock: the bat is not smoothed across it.",
)
@takes(CAGE, NOISE, RESULT)
def triangulate(
    cameras: tuple[Path, ...],
    keypoints: tuple[Path, ...],
    bats_ends: tuple[Path, ...],
    out: Path,
    clocks: Clocks,
    until_s: float | None,
    contact_s: float | None,
    noise_px: float,
    page: Path | None,
    replace: bool,
    **cage: Any,
) -> None:
    """Find points in space from what two or more cameras saw, and say how good they are.

    What is written, `mocap compare` reads. The page shows errors by camera and point and over time, and what to expect
    of the cameras where they stand.
    """
    from mocap.camera_job import check_suffix, clips_of, triangulate_job, write_points
    from mocap.camera_tables import print_placement, print_quality

    clips = clips_of(cameras, keypoints, bats_ends)
    check_suffix(out)
    for target in (out, page):
        if target is not None:
            refuse_older(target, replace)
    volume, pitcher = _volume(cage) if cage["plate"] else None, _direction(cage)
    with progress_of(out.name) as report:
        found = triangulate_job(
            clips,
            clocks=clocks,
            noise_px=noise_px,
            until_s=until_s,
            contact_s=contact_s,
            volume=volume,
            pitcher=pitcher,
            report=report,
        )
        write_points(found.filmed, out)
    for note in found.filmed.notes:
        click.echo(f"note: {note}")
    print_quality(found.quality)
    print_placement(found.placement)
    click.echo(f"points in {out}")
    if page is not None:
        from mocap.renderer.camera_page import write_camera_page

        write_camera_page(found.placement, page, quality=found.quality, notes=found.filmed.notes)
        click.echo(f"page in {page}")


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="CAMERA CAMERA ...")
@takes(CAGE, NOISE, RESULT)
def cameras(files: tuple[Path, ...], noise_px: float, page: Path | None, replace: bool, **cage: Any) -> None:
    """Judge where cameras stand before anything is recorded: angle, distance, expected error, and what to move.

    CAMERA files say where each stands (`mocap calibrate place`). Left out, the plate's tip is the origin of their axes,
    the pitcher stands along x, and the hitter bats right.
    """
    from mocap.camera_job import placement_job
    from mocap.camera_tables import print_placement

    if page is not None:
        refuse_older(page, replace)
    placement = placement_job(files, _volume(cage), noise_px=noise_px)
    print_placement(placement)
    if page is not None:
        from mocap.renderer.camera_page import write_camera_page

        write_camera_page(placement, page)
        click.echo(f"page in {page}")


def _direction(cage: dict[str, Any]) -> tuple[float, ...] | None:
    return _three(cage["pitcher"], "--pitcher", "1,0,0") if cage["pitcher"] else None


def _volume(cage: dict[str, Any]) -> Volume:
    """Where the hitter moves, as the options say it."""
    from mocap.importer.camera_placement import Volume

    plate = _three(cage["plate"], "--plate", "1.5,0.7,0") if cage["plate"] else (0.0, 0.0, 0.0)
    return Volume.at_plate(plate, _direction(cage) or (1.0, 0.0, 0.0), cage["bats"])


def _three(text: str, option: str, example: str) -> tuple[float, ...]:
    from math import isfinite

    try:
        numbers = tuple(float(part) for part in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != 3 or not all(map(isfinite, numbers)):
        raise OptionError(f"{option} {text!r} is not three numbers; give e.g. {example}")
    return numbers
