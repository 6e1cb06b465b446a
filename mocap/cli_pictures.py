"""`mocap still` and `mocap film`: one picture or film of a swing, as the coach wants it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mocap.cli_options import HITTER, MODEL, ONE, RESULT, SETUP, moments_of, overridden, takes, who_and_how
from mocap.errors import OptionError
from mocap.showing import progress_of
from mocap.swing import MOMENTS

if TYPE_CHECKING:
    from mocap.comparison import Comparison
    from mocap.display import Units
    from mocap.findings import Findings
    from mocap.importer.camera import Camera
    from mocap.importer.keypoints import Keypoints
    from mocap.importer.session import Filmed, Recording
    from mocap.showing import Report

PICTURES = ("moment", "sheet", "difference", "stroboscope")

DRAWN = (
    click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="File to write."),
    click.option(
        "--view",
        "views",
        multiple=True,
        metavar="NAME",
        help='Where it is seen from: "open side" (default), pitcher, catcher, above, three-quarter, or a free camera '
        "as AZIMUTH,ELEVATION in degrees, e.g. 120,25. Give two or four for several views in one picture.",
    ),
    click.option(
        "--guides",
        default="usual",
        show_default=True,
        metavar="NAMES",
        help="Guides that are drawn: usual, all, none, or names with commas (a wrong one lists them).",
    ),
    click.option(
        "--size",
        default="1080p",
        show_default=True,
        help="720p, 1080p, 1440p, 4k, square, upright, or WIDTHxHEIGHT in pixels.",
    ),
    click.option(
        "--beside",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="A second recording, shown side by side: another hitter, or another date.",
    ),
    click.option("--reference", default="standard", show_default=True, help="Name or file of the reference model."),
    click.option("--replace", is_flag=True, help="Replace an older file of that name."),
)
VIDEO = (
    click.option("--video", type=click.Path(path_type=Path), help="Video of the same swing, to draw over."),
    click.option("--camera", type=click.Path(path_type=Path), help="The calibrated camera it was filmed with (TOML)."),
    click.option(
        "--video-moment",
        "video_moments",
        multiple=True,
        metavar="NAME=FRAME",
        help="Without --camera: the video's frame of a moment, counted from 0; the video is then shown side by side.",
    ),
    click.option(
        "--video-rate", type=float, metavar="HZ", help="Frames a second at which it was filmed, if the file misleads."
    ),
)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--at", "moment", default="plant", show_default=True, metavar="MOMENT", help=f"{', '.join(MOMENTS)}.")
@click.option(
    "--picture",
    type=click.Choice(PICTURES),
    default="moment",
    show_default=True,
    help="One moment; all key moments; the body tinted by its distance to the reference; the barrel's and the "
    "hands' way in equal steps of time.",
)
@click.option(
    "--start",
    type=click.Choice(("plant", "lift")),
    default="plant",
    show_default=True,
    help="Of the stroboscope: from which moment on.",
)
@takes(DRAWN, VIDEO, HITTER, SETUP, MODEL, ONE, RESULT)
def still(file: Path, moment: str, picture: str, out: Path | None, replace: bool, **options: Any) -> None:
    """Draw one picture (PNG) of the swing in FILE over its reference.

    Left out, --out is the recording's name and the picture's, in the current folder.
    """
    from mocap.renderer import check_can_draw
    from mocap.showing import refuse_older

    target = out or Path(f"{file.stem}_{moment if picture == 'moment' else picture}.png")
    _has_suffix(target, (".png",))
    refuse_older(target, replace)
    asked = _Asked.of(options)
    if picture != "moment" and (asked.beside or asked.video or len(asked.views) > 1):
        raise OptionError(f"--picture {picture} shows one swing from one side; leave out --beside, --video, more views")
    if picture != "stroboscope" and asked.options["start"] != "plant":
        raise OptionError("--start goes with --picture stroboscope")
    check_can_draw()
    with progress_of(file.name) as report:
        shown = asked.read(file)
        report("drawing", 0, None)
        asked.draw_still(shown, picture, moment, target)
    click.echo(f"picture in {target}")


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--speed", type=float, metavar="X", help="Over real time, e.g. 0.25; left out: slow where it matters.")
@click.option("--fps", type=int, default=30, show_default=True, help="Pictures a second.")
@click.option(
    "--hold", default="plant,contact", show_default=True, metavar="MOMENTS", help="Where it stands still, or none."
)
@click.option("--title", help="Of a card that opens the film.")
@takes(DRAWN, VIDEO, HITTER, SETUP, MODEL, ONE, RESULT)
def film(files: tuple[Path, ...], out: Path | None, replace: bool, **options: Any) -> None:
    """Film the swing in FILE over its reference; of several FILES or a session folder, a reel of one after another.

    The name of --out says what is made: .mp4 (default), .gif or .webp for a chat, .glb for a viewer of solid models.
    """
    from mocap.renderer import check_can_draw
    from mocap.showing import refuse_older

    listed = _listed(files, options)
    target = out or Path(f"{files[0].stem if len(files) == 1 else 'reel'}.mp4")
    _has_suffix(target, (".mp4", ".gif", ".webp", ".glb"))
    refuse_older(target, replace)
    asked = _Asked.of(options)
    if len(listed) > 1 and (asked.beside or asked.video or target.suffix == ".glb"):
        raise OptionError("--beside, --video and a .glb go with one recording; give one FILE")
    check_can_draw()
    with progress_of(target.name) as report:
        asked.film(listed, target, report)
    click.echo(f"film in {target}" if target.suffix != ".glb" else f"model in {target}")


@dataclass(frozen=True)
class _Shown:
    """A swing that is drawn."""

    comparison: Comparison
    findings: Findings
    starts_s: float
    units: Units
    beside: tuple[Comparison, Findings] | None = None


@dataclass(frozen=True)
class _Asked:
    """What the options ask for."""

    options: dict[str, Any]
    views: tuple[str, ...]
    size: tuple[int, int]
    guides: str | list[str]

    @classmethod
    def of(cls, options: dict[str, Any]) -> _Asked:
        from mocap.renderer.view import find_view
        from mocap.showing import size_of

        views = options["views"] or ("open side",)
        for name in views:
            find_view(name)
        if options["camera"] and not options["video"]:
            raise OptionError("--camera goes with --video; give the video that it filmed")
        guides = [name.strip() for name in options["guides"].split(",")]
        return cls(options, views, size_of(options["size"]), guides[0] if len(guides) == 1 else guides)

    @property
    def beside(self) -> Path | None:
        path: Path | None = self.options["beside"]
        return path

    @property
    def video(self) -> Path | None:
        path: Path | None = self.options["video"]
        return path

    def read(self, file: Path) -> _Shown:
        """The swing in a file, and the one beside it."""
        recording, units = who_and_how(file, self.options)
        return self.compared(recording, self.options["units"] or units)

    def compared(self, recording: Recording, units: Units) -> _Shown:
        """A swing against its reference, and the one beside it."""
        from mocap.showing import only_swing

        common = {"reference": self.options["reference"], "limits": self.options["limits"], "units": units}
        if self.beside is None:
            return _Shown(*only_swing(recording, self.options["swing"], **common), units)
        other, _ = who_and_how(self.beside, dict.fromkeys(self.options) | {"moments": (), "held": False})
        if other.hitter.name == recording.hitter.name and other.day != recording.day:
            recording, other = _dated(recording), _dated(other)
        beside = only_swing(other, None, **common)[:2]
        return _Shown(*only_swing(recording, self.options["swing"], **common), units, beside)

    def draw_still(self, shown: _Shown, picture: str, moment: str, target: Path) -> None:
        """Draw one picture."""
        import mocap

        both = (shown.comparison, shown.findings)
        common: dict[str, Any] = {"size": self.size, "units": shown.units}
        look: str | tuple[str, ...] = self.views[0] if len(self.views) == 1 else self.views
        if self.video is not None:
            mocap.draw_still_over_footage(
                shown.comparison,
                shown.findings,
                self.video,
                target,
                moment=moment,
                guides=self.guides,
                **self._link(shown),
                **common,
            )
        elif picture == "sheet":
            mocap.draw_sheet(*both, target, **common)
        elif picture == "difference":
            mocap.draw_difference_map(*both, target, moment=moment, view=self.views[0], **common)
        elif picture == "stroboscope":
            mocap.draw_stroboscope(*both, target, start=self.options["start"], view=self.views[0], **common)
        else:
            mocap.draw_still(*both, target, moment=moment, view=look, guides=self.guides, beside=shown.beside, **common)

    def film(self, listed: list[tuple[Recording, Units]], target: Path, report: Report) -> None:
        """Film one swing, or a reel of several."""
        import mocap

        options = self.options
        held = () if options["hold"] == "none" else tuple(name.strip() for name in options["hold"].split(","))
        units: Units = options["units"] or listed[0][1]
        common: dict[str, Any] = {
            "size": self.size,
            "fps": options["fps"],
            "units": units,
            "guides": self.guides,
            "speed": options["speed"],
            "moments": held,
            "progress": lambda done, total: report("drawing", done, total),
        }
        look: str | tuple[str, ...] = self.views[0] if len(self.views) == 1 else self.views
        if len(listed) > 1:
            mocap.draw_reel(self._each(listed, units), target, view=look, title=options["title"], **common)
            return
        shown = self.compared(listed[0][0], units)
        both = (shown.comparison, shown.findings)
        report("drawing", 0, None)
        if target.suffix == ".glb":
            mocap.draw_glb(*both, target, units=units)
        elif self.video is not None:
            mocap.draw_over_footage(shown.comparison, shown.findings, self.video, target, **self._link(shown), **common)
        else:
            mocap.draw_film(*both, target, view=look, beside=shown.beside, title=options["title"], **common)

    def _each(self, listed: list[tuple[Recording, Units]], units: Units) -> Iterator[tuple[Comparison, Findings]]:
        """Every swing in turn, measured when it is its turn; of a file of several swings each."""
        from mocap.showing import compared, pieces

        for recording, _ in listed:
            for piece in pieces(recording, self.options["swing"]):
                yield compared(
                    recording,
                    piece,
                    reference=self.options["reference"],
                    limits=self.options["limits"],
                    units=units,
                )

    def _link(self, shown: _Shown) -> dict[str, Any]:
        """How the video goes with the swing: by the options, else by the session's row of that video."""
        row = _filmed(self.video)
        camera = self.options["camera"] or (row.camera if row else None)
        moments = moments_of(self.options["video_moments"], "--video-moment") or (dict(row.moments) if row else {})
        return {
            "camera": _camera(camera),
            "video_moments": moments or None,
            "video_rate_hz": self.options["video_rate"] or (row.rate_hz if row else None),
            "swing_starts_s": shown.starts_s,
            "keypoints": _points(row.points if row else None),
            "told": lambda line: click.echo(f"mocap: note: {line}", err=True),
        }


def _camera(path: Path | None) -> Camera | None:
    from mocap.importer.camera_file import read_camera

    return None if path is None else read_camera(path)


def _points(path: Path | None) -> Keypoints | None:
    """What a detector found in the video's pictures, where the session names it as a table."""
    from mocap.importer.keypoints import read_keypoints

    return read_keypoints(path) if path is not None and path.suffix.lower() == ".csv" else None


def _filmed(video: Path | None) -> Filmed | None:
    """The session's row of a video, where there is one."""
    from mocap.importer.session import find_session, read_session

    source = find_session(video) if video is not None else None
    if source is None or video is None:
        return None
    rows = [row for row in read_session(source).filmed if row.video is not None and row.video.name == video.name]
    return rows[0] if rows else None


def _dated(recording: Recording) -> Recording:
    """Under the hitter's name with the day, to tell one from the other."""
    name = recording.hitter.name or recording.file.stem
    day = recording.day.isoformat() if recording.day else recording.file.stem
    return replace(recording, hitter=replace(recording.hitter, name=f"{name}, {day}"))


def _listed(files: tuple[Path, ...], options: dict[str, Any]) -> list[tuple[Recording, Units]]:
    """Every recording: files as they are, session folders as they list them."""
    from mocap.importer.session import is_session, read_session

    found: list[tuple[Recording, Units]] = []
    for file in files:
        if is_session(file):
            session = read_session(file)
            found += [(overridden(recording, options), session.units) for recording in session.recordings]
        else:
            found.append(who_and_how(file, options))
    return found


def _has_suffix(target: Path, known: tuple[str, ...]) -> None:
    if target.suffix.lower() not in known:
        raise OptionError(f"--out {target} ends in {target.suffix or 'no suffix'}; give {' or '.join(known)}")
