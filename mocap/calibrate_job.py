"""The work behind the calibrating commands: files in, camera files and one line per finding out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.boards import Board, video_rate
from mocap.importer.calibrate_lens import calibrate_lens
from mocap.importer.calibrate_place import calibrate_place
from mocap.importer.calibrate_wand import WandCalibration, calibrate_wand
from mocap.importer.camera import Camera
from mocap.importer.camera_file import read_camera, write_camera
from mocap.importer.known_points import KnownPoints, read_known_points, read_marked_pixels, rule_book_points
from mocap.importer.rig_place import align_to_points, move_to
from mocap.swing import Sport


def lens_job(
    pictures: str | Path | Sequence[str | Path],
    board: Board,
    out: str | Path,
    *,
    every: int | None = None,
    k3: bool | None = None,
    picture: str | Path | None = None,
    rate_hz: float | None = None,
) -> list[str]:
    """Find a lens from pictures of a board and write it as a camera file, which stands at the origin.

    Parameters
    ----------
    pictures, board, every, k3
        As in `calibrate_lens`.
    out : str or Path
        Camera file; its stem names the camera.
    picture : str or Path, optional
        PNG of the residuals.
    rate_hz : float, optional
        For the camera file; else that of the video, where `pictures` is one.

    Returns
    -------
    list of str
        What was found, and what to mind.

    Raises
    ------
    MocapError
        As `calibrate_lens`, or a file that cannot be written.
    """
    check_rate(rate_hz)
    found = calibrate_lens(pictures, board, every=every, k3=k3, name=Path(out).stem)
    filmed_hz = video_rate(pictures) if rate_hz is None else None
    lens = replace(found.lens, rate_hz=rate_hz or filmed_hz)
    write_camera(lens, out)
    if picture is not None:
        from mocap.renderer.lens_picture import write_lens_picture

        write_lens_picture(found, picture)
    focal, middle = np.diag(found.lens.matrix)[:2], found.lens.matrix[:2, 2]
    return [
        f"{found.lens.name}: focal length {focal[0]:.1f} ± {found.sd_focal_px[0]:.1f} px, principal point"
        f" {middle[0]:.1f}, {middle[1]:.1f} ± {found.sd_principal_px.max():.1f} px",
        f"corners of {len(found.fits)} pictures fit to {found.rms_px:.2f} px",
        *_rate_told(lens, filmed_hz),
        *found.notes,
    ]


def check_rate(rate_hz: float | None) -> None:
    """Refuse a rate that is none, before anything is worked out.

    Raises
    ------
    OptionError
        It is not positive, or no number.
    """
    if rate_hz is not None and not 0.0 < rate_hz < float("inf"):
        raise OptionError(f"--rate {rate_hz:g} is no number of pictures per second; give e.g. 120")


def _rate_told(camera: Camera, filmed_hz: float | None) -> list[str]:
    """Where the camera's rate comes from, if that is worth a word."""
    if camera.rate_hz is None:
        return [f"{camera.name}: rate_hz is not in its file, as nothing tells it; give --rate, or add it before use"]
    if filmed_hz is None:
        return []
    return [f"{camera.name}: {filmed_hz:g} pictures a second as the video states; give --rate if it is in slow motion"]


def place_job(
    pixels: str | Path,
    out: str | Path,
    *,
    lens: str | Path | None = None,
    size: tuple[int, int] | None = None,
    points: str | Path | None = None,
    sport: Sport = "baseball",
    sd_px: float = 1.0,
    rate_hz: float | None = None,
) -> list[str]:
    """Find where a camera stands from points of known place and write it as a camera file.

    Parameters
    ----------
    pixels : str or Path
        Table `point,u,v`.
    out : str or Path
        Camera file.
    lens : str or Path, optional
        Camera file with the lens; without it `size` is needed, and the lens is found too.
    size : tuple of 2 ints, optional
        [px]
    points : str or Path, optional
        A coach's own measured points, beside those of the rule book.
    sport : {"baseball", "softball"}
    sd_px : float
    rate_hz : float, optional
        For the camera file; else the lens's.

    Returns
    -------
    list of str

    Raises
    ------
    MocapError
        As `calibrate_place`, or a file that cannot be read or written.
    """
    check_rate(rate_hz)
    known, seen = _known(points, sport).matched(read_marked_pixels(pixels), str(pixels))
    base = read_camera(lens) if lens is not None else None
    name = (base.name if base is not None else "") or Path(out).stem
    found = calibrate_place(known.places, seen, base, names=known.names, size=size, sd_px=sd_px, name=name)
    camera = replace(found.camera, rate_hz=rate_hz or found.camera.rate_hz)
    write_camera(camera, out)
    off = np.linalg.norm(found.residuals, axis=1)
    each = ", ".join(
        f"{point} {away:.1f}" for point, away in zip(known.names, off, strict=True) if point not in found.wrong
    )
    told = [_stands(camera, found.centre_covariance), f"residuals in px: {each}"]
    return [*told, *_rate_told(camera, None), *found.notes]


def wand_job(
    lenses: Sequence[str | Path],
    ends: Sequence[str | Path],
    length_m: float,
    out: str | Path,
    *,
    names: tuple[str, str] = ("knob", "barrel"),
    marks: Sequence[str | Path] | None = None,
    points: str | Path | None = None,
    sport: Sport = "baseball",
    placed: str | Path | None = None,
    free_focal: bool = False,
    sd_px: float = 1.0,
) -> list[str]:
    """Find how cameras stand from a waved wand, put them into the cage, and write a camera file for each.

    Parameters
    ----------
    lenses : sequence of str or Path, length C
        Camera files with the lenses.
    ends : sequence of str or Path, length C
        What each camera saw of the wand, as `read_keypoints` reads it. Frames belong together by the rates and time
        offsets in the camera files, and by their numbers where a rate is missing.
    length_m : float
        [m]
    out : str or Path
        Folder for the camera files, which keep their names.
    names : tuple of 2 str
        Of the wand's ends among the points.
    marks : sequence of str or Path, optional
        What each camera sees of known points (`point,u,v`), for floor and heading.
    points, sport
        As in `place_job`.
    placed : str or Path, optional
        Instead of `marks`: the first camera's file after `place_job`.
    free_focal, sd_px
        As in `calibrate_wand`.

    Returns
    -------
    list of str

    Raises
    ------
    MocapError
        As `calibrate_wand` and `align_to_points`, or a file that cannot be read or written.
    """
    _check_wand_files(lenses, ends, marks, placed)
    cameras = [read_camera(path) for path in lenses]
    found = calibrate_wand(cameras, _waved(cameras, ends, names), length_m, sd_px=sd_px, free_focal=free_focal)
    lines = _wand_told(found)
    if placed is not None:
        moved = move_to(found.cameras, read_camera(placed))
    else:
        moved, aligned = _aligned(found.cameras, marks or (), _known(points, sport), sd_px)
        lines += aligned
    for camera, path in zip(moved, lenses, strict=True):
        write_camera(camera, Path(out) / Path(path).name)
    return [*lines, *(_stands(camera, None) for camera in moved)]


def _check_wand_files(
    lenses: Sequence[str | Path],
    ends: Sequence[str | Path],
    marks: Sequence[str | Path] | None,
    placed: str | Path | None,
) -> None:
    """One way into the cage, and a file for each camera."""
    if (marks is None) == (placed is None):
        raise OptionError("give what each camera sees of known points, or the first camera's place")
    if {len(ends), len(marks if marks is not None else ends)} != {len(lenses)}:
        raise OptionError("give as many lens files as files of points")


def _wand_told(found: WandCalibration) -> list[str]:
    """How well the wand fits, and what to mind."""
    return [
        f"wand fits to {found.rms_px:.2f} px; without being told, its length comes out to"
        f" {1e3 * found.length_error_m:.1f} mm",
        *found.notes,
    ]


def _known(points: str | Path | None, sport: Sport) -> KnownPoints:
    """The rule book's points and the coach's own; where both know one, the coach's."""
    book = rule_book_points(sport)
    if points is None:
        return book
    own = read_known_points(points)
    rest = [row for row, name in enumerate(book.names) if name not in own.names]
    return own + KnownPoints(tuple(book.names[row] for row in rest), book.places[rest])


def _aligned(
    cameras: Sequence[Camera], marks: Sequence[str | Path], known: KnownPoints, sd_px: float
) -> tuple[tuple[Camera, ...], list[str]]:
    """Cameras in the cage, by known points that they see, and what there is to say of it."""
    points, seen = _marked(marks, known)
    aligned = align_to_points(cameras, seen, points.places, names=points.names, sd_px=sd_px)
    farthest = 1e3 * float(np.nanmax(np.abs(aligned.off)))
    return aligned.cameras, [f"known points come out to {farthest:.0f} mm", *aligned.notes]


def _marked(marks: Sequence[str | Path], known: KnownPoints) -> tuple[KnownPoints, FloatArray]:
    """Known points that any camera saw, and where each did, shape (C, N, 2)."""
    seen = [read_marked_pixels(path) for path in marks]
    for path, own in zip(marks, seen, strict=True):
        known.matched(own, str(path))
    rows = [row for row, name in enumerate(known.names) if any(name in own for own in seen)]
    chosen = KnownPoints(tuple(known.names[row] for row in rows), known.places[rows])
    missing = np.full(2, np.nan)
    return chosen, np.array([[own.get(name, missing) for name in chosen.names] for own in seen])


def _waved(cameras: Sequence[Camera], ends: Sequence[str | Path], names: tuple[str, str]) -> FloatArray:
    """Both ends by camera at the first camera's frames, shape (C, F, 2, 2)."""
    from mocap.importer.keypoints import read_keypoints

    read = [read_keypoints(path) for path in ends]
    for path, own in zip(ends, read, strict=True):
        for name in names:
            if name not in own.names:
                raise InputError(f"{path}: has no point {name!r}; it has {', '.join(own.names)}")
    numbers = [own.first_frame + np.arange(len(own.pixels), dtype=np.float64) for own in read]
    rates = [camera.rate_hz for camera in cameras]
    # Without every camera's rate frames of the same number belong together.
    times = [
        number if None in rates else camera.time_offset_s + number / (rate or 1.0)
        for camera, number, rate in zip(cameras, numbers, rates, strict=True)
    ]
    waved = [
        [_at(times[0], time, own.pixels[:, own.names.index(name)]) for name in names]
        for own, time in zip(read, times, strict=True)
    ]
    return np.moveaxis(np.array(waved), 1, 2)


def _at(wanted: FloatArray, times: FloatArray, pixels: FloatArray) -> FloatArray:
    """A point (F, 2) at other times, by a cubic spline; NaN unless it was seen in the frames before and after."""
    from scipy.interpolate import CubicSpline

    seen = np.asarray(np.isfinite(pixels).all(axis=1), dtype=np.bool_)
    sampled = np.full((len(wanted), 2), np.nan)
    if seen.sum() < 4:
        return sampled
    period = float(np.diff(times).min())
    # Times that agree to a thousandth of a frame are the same frame.
    before = np.clip(np.floor((wanted - times[0]) / period + 1e-3).astype(np.int64), -1, len(times))
    exact = np.abs((wanted - times[0]) / period - before) < 2e-3
    inside = (before >= 0) & (before < len(times))
    after = np.minimum(before + 1, len(times) - 1)
    inside[inside] &= seen[before[inside]]
    good = inside & (exact | ((before + 1 < len(times)) & seen[after]))
    sampled[good] = CubicSpline(times[seen], pixels[seen])(wanted[good])
    return sampled


def _stands(camera: Camera, covariance: FloatArray | None) -> str:
    x, y, z = camera.centre
    sure = "" if covariance is None else f", to {1e3 * float(np.sqrt(np.trace(covariance))):.0f} mm"
    return f"{camera.name}: stands at {x:.2f}, {y:.2f}, {z:.2f} m{sure}"
