"""`mocap calibrate` and `mocap sync`: from tripods to calibrated cameras on one clock."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from mocap.cli_options import NOISE
from mocap.errors import OptionError, OutputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from mocap.swing import Sport

KNOWN = (
    click.option("--points", type=click.Path(path_type=Path), help="Points that you measured (name,x,y,z in metres)."),
    click.option(
        "--sport", type=click.Choice(["baseball", "softball"]), default="baseball", help="Whose plate and box."
    ),
)
RATE = click.option(
    "--rate", "rate_hz", type=float, metavar="HZ", help="Pictures per second of its swings, for the camera file."
)
REPLACE = click.option("--replace", is_flag=True, help="Replace older files of those names.")


@click.group()
def calibrate() -> None:
    """Find a camera's lens and where it stands."""


@calibrate.command()
@click.argument("pictures", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--corners", required=True, metavar="CxR", help="Inner corners of the board, where four squares meet, e.g. 9x6."
)
@click.option("--square", required=True, type=float, metavar="M", help="Side of one square in metres.")
@click.option("--marker", type=float, metavar="M", help="Side of one marker in metres, of a ChArUco board.")
@click.option(
    "--dictionary",
    default="DICT_4X4_50",
    show_default=True,
    help="Which markers a ChArUco board has, by OpenCV's name.",
)
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="Camera file to write.")
@RATE
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Draw the residuals, too (PNG).")
@REPLACE
def lens(
    pictures: tuple[Path, ...],
    corners: str,
    square: float,
    marker: float | None,
    dictionary: str,
    out: Path,
    rate_hz: float | None,
    picture: Path | None,
    replace: bool,
) -> None:
    """Find a lens from photographs or a video of a board, held at many angles over the whole picture.

    The board is a chessboard, or with --marker a ChArUco board, which may reach beyond the picture.
    """
    from mocap.calibrate_job import lens_job
    from mocap.importer.boards import Board

    _refuse_older([out, *([picture] if picture else [])], replace)
    columns, _, rows = corners.partition("x")
    if not (columns.isdecimal() and rows.isdecimal()):
        raise OptionError(f"--corners {corners!r} is not known; give inner corners as COLUMNSxROWS, e.g. 9x6")
    source = pictures[0] if len(pictures) == 1 else list(pictures)
    kind: Literal["chessboard", "charuco"] = "chessboard" if marker is None else "charuco"
    board = Board(int(columns), int(rows), square, kind, marker, dictionary)
    _say(lens_job(source, board, out, picture=picture, rate_hz=rate_hz))
    click.echo(f"camera in {out}")


@calibrate.command()
@click.argument("marks", type=click.Path(path_type=Path))
@click.option("--lens", "lens_file", type=click.Path(path_type=Path), help="Camera file with the lens.")
@click.option("--size", metavar="WxH", help="Of the picture in pixels, where no lens is known.")
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="Camera file to write.")
@RATE
@KNOWN[0]
@KNOWN[1]
@REPLACE
def place(
    marks: Path,
    lens_file: Path | None,
    size: str | None,
    out: Path,
    rate_hz: float | None,
    points: Path | None,
    sport: Sport,
    replace: bool,
) -> None:
    """Find where a camera stands from MARKS: where it sees points of known place (point,u,v).

    Corners of plate and batter's boxes go by the rule book's names; a wrong name lists them.
    """
    from mocap.calibrate_job import place_job

    _refuse_older([out], replace)
    _say(place_job(marks, out, lens=lens_file, size=_pixels(size), points=points, sport=sport, rate_hz=rate_hz))
    click.echo(f"camera in {out}")


@calibrate.command()
@click.option("--camera", "cameras", multiple=True, required=True, type=click.Path(path_type=Path), help="Lens; two.")
@click.option("--ends", multiple=True, required=True, type=click.Path(path_type=Path), help="What each saw of it.")
@click.option("--length", required=True, type=float, metavar="M", help="Between the wand's two ends, in metres.")
@click.option("--names", default="bat_knob,bat_barrel", show_default=True, help="Of the ends among the points.")
@click.option("--marks", multiple=True, type=click.Path(path_type=Path), help="Known points that each camera sees.")
@click.option("--placed", type=click.Path(path_type=Path), help="The first camera, placed: instead of --marks.")
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder for the cameras.")
@KNOWN[0]
@KNOWN[1]
@REPLACE
def wand(
    cameras: tuple[Path, ...],
    ends: tuple[Path, ...],
    length: float,
    names: str,
    marks: tuple[Path, ...],
    placed: Path | None,
    out: Path,
    points: Path | None,
    sport: Sport,
    replace: bool,
) -> None:
    """Find how two or more cameras stand from a wand or a bat of known length that is waved through the space."""
    from mocap.calibrate_job import wand_job

    if len(cameras) < 2 or len(ends) != len(cameras):
        raise OptionError("--camera and --ends go together, once for each of two or more cameras")
    pair = tuple(name.strip() for name in names.split(","))
    if len(pair) != 2:
        raise OptionError(f"--names {names!r} are not two; give e.g. bat_knob,bat_barrel")
    _refuse_older([out / file.name for file in cameras], replace)
    out.mkdir(parents=True, exist_ok=True)
    _say(
        wand_job(
            cameras,
            ends,
            length,
            out,
            names=(pair[0], pair[1]),
            marks=marks or None,
            points=points,
            sport=sport,
            placed=placed,
        )
    )
    click.echo(f"cameras in {out}")


@click.command()
@click.option("--camera", "cameras", multiple=True, required=True, type=click.Path(path_type=Path), help="Two or more.")
@click.option(
    "--keypoints",
    multiple=True,
    type=click.Path(path_type=Path),
    help="What each camera saw: a table, or a folder of a pose estimator's JSON files.",
)
@click.option(
    "--event",
    "events",
    multiple=True,
    metavar="'A=N B=N'",
    help="Frames in which each camera, by name, shows one flash, clap or contact; again for another.",
)
@NOISE[0]
@click.option("--search", "search_s", type=float, default=3.0, show_default=True, help="To either side, in seconds.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Folder for the cameras as found.")
@REPLACE
def sync(
    cameras: tuple[Path, ...],
    keypoints: tuple[Path, ...],
    events: tuple[str, ...],
    noise_px: float,
    search_s: float,
    out: Path | None,
    replace: bool,
) -> None:
    """Find the clocks of cameras that ran freely, from the motion that they all saw, or from events that all show.

    With --event and --keypoints the motion refines what the events say, within a frame or two of it.
    """
    from mocap.camera_job import sync_job
    from mocap.importer.camera_file import write_camera

    targets = [out / file.name for file in cameras] if out else []
    _refuse_older(targets, replace)
    read, found = sync_job(cameras, keypoints, events, search_s=search_s, noise_px=noise_px)
    for camera, offset, drift, sd in zip(read[1:], found.offset_s[1:], found.drift[1:], found.sd_s[1:], strict=True):
        words = f", its seconds {1e6 * drift:+.0f} millionths too long" if drift else ""
        click.echo(f"{camera.name}: {1e3 * offset:+.2f} ± {1e3 * sd:.2f} ms from what its file says{words}")
    _say(found.notes)
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        for target, camera in zip(targets, found.applied(read), strict=True):
            write_camera(camera, target)
        click.echo(f"cameras in {out}")


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(line)


def _pixels(size: str | None) -> tuple[int, int] | None:
    if size is None:
        return None
    width, _, height = size.partition("x")
    if not (width.isdecimal() and height.isdecimal()):
        raise OptionError(f"--size {size!r} is not WIDTHxHEIGHT; give e.g. 1920x1080")
    return int(width), int(height)


def _refuse_older(files: list[Path], replace: bool) -> None:
    twice = next((file for number, file in enumerate(files) if file in files[:number]), None)
    if twice is not None:
        raise OptionError(f"two files would be written to {twice}; give the cameras' files different names")
    older = [file for file in files if file.exists()]
    if older and not replace:
        raise OutputError(f"{older[0]} is there already; choose another --out, or give --replace")
