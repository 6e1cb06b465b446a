"""A camera's lens from pictures of a board: focal lengths, principal point, distortion, and how sure they are.

Z. Zhang (2000) *A flexible new technique for camera calibration*, IEEE Trans. Pattern Anal. 22:1330-1334, as OpenCV
has it (`calibrateCamera`, with the model of `mocap.importer.camera`). Pictures in which the board fits far worse than
in the others (moved while the shutter was open, bent, a corner mistaken) are left out and named.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.importer.boards import Board, Corners, Grey, find_corners, opencv, read_pictures, seen_charuco, seen_size
from mocap.importer.camera import Camera

#: Fewest pictures of the board. Three tilted ones determine the lens (Zhang 2000); this many show what is wrong with
#: one. This project's default.
FEWEST = 5
#: From so many pictures on the third radial coefficient is found too, unless told otherwise. This project's default.
K3_FROM = 15
#: A picture is left out when its board fits worse than the middle one by this factor, and by this. This project's
#: default. [-], [px]
WORSE, WORSE_PX = 2.5, 0.5
#: In so many pictures another size of the board is looked for when none shows the stated one. This project's default.
LOOKED_AT = 5
#: The picture is divided into so many fields across and down, to see how much of it the board covered; less than the
#: share of them is worth a word. This project's default.
FIELDS, COVERED = (8, 6), 0.6
#: A tilt that differs from square to the axis by this much must occur, else focal length and distance are confused.
#: This project's default. [deg]
LEAST_TILT_DEG = 15.0


@dataclass(frozen=True, eq=False)
class BoardFit:
    """A board in a picture, as the lens explains it.

    Attributes
    ----------
    name : str
        Of the picture.
    pixels, residuals : ndarray, shape (K, 2)
        Corners as found, and found minus projected. [px]
    """

    name: str
    pixels: FloatArray
    residuals: FloatArray

    @property
    def rms_px(self) -> float:
        """Root mean square distance of the corners. [px]"""
        return float(np.sqrt((self.residuals**2).sum(axis=1).mean()))


@dataclass(frozen=True, eq=False)
class LensCalibration:
    """A lens that was found.

    Attributes
    ----------
    lens : Camera
        At the origin, looking along z.
    sd_focal_px, sd_principal_px : ndarray, shape (2,)
        Standard deviations of fx, fy, and of cx, cy. [px]
    fits : tuple of BoardFit
        Of the pictures that were used.
    left_out : tuple of BoardFit
        Of those that fit far worse, by the lens found without them.
    not_found : tuple of str
        Pictures in which the board was not found.
    covered : ndarray of bool, shape (6, 8)
        In which fields of the picture a corner was seen, from the upper left.
    notes : tuple of str
    """

    lens: Camera
    sd_focal_px: FloatArray
    sd_principal_px: FloatArray
    fits: tuple[BoardFit, ...]
    left_out: tuple[BoardFit, ...]
    not_found: tuple[str, ...]
    covered: npt.NDArray[np.bool_]
    notes: tuple[str, ...]

    @property
    def coverage(self) -> float:
        """Share of the picture's fields in which a corner was seen. [-]"""
        return float(self.covered.mean())

    @property
    def rms_px(self) -> float:
        """Root mean square distance of all corners used. [px]"""
        return float(np.sqrt(np.concatenate([(fit.residuals**2).sum(axis=1) for fit in self.fits]).mean()))


def calibrate_lens(
    source: str | Path | Sequence[str | Path],
    board: Board,
    *,
    every: int | None = None,
    k3: bool | None = None,
    name: str = "",
) -> LensCalibration:
    """Find a lens from photographs or a video of a board.

    Parameters
    ----------
    source : str, Path or sequence of them
        As `mocap.importer.boards.read_pictures`.
    board : Board
    every : int, optional
        Of a video: one picture of so many.
    k3 : bool, optional
        Whether the third radial coefficient is found; else from `K3_FROM` pictures on.
    name : str
        Of the camera.

    Returns
    -------
    LensCalibration

    Raises
    ------
    InputError
        No pictures, pictures of several sizes, too few that show the board (of which another size may be seen).
    OptionError
        OpenCV is not installed.
    """
    pictures = read_pictures(source, every=every)
    return lens_from_corners(_found(pictures, board), board, k3=k3, name=name)


def lens_from_corners(
    corners: Iterable[Corners], board: Board, *, k3: bool | None = None, name: str = ""
) -> LensCalibration:
    """Find a lens from corners that were found.

    Parameters
    ----------
    corners : iterable of Corners
        At least `FEWEST` that are not empty.
    board, k3, name
        As in `calibrate_lens`.

    Returns
    -------
    LensCalibration

    Raises
    ------
    InputError
        Too few, or of pictures of several sizes.
    """
    every = list(corners)
    seen = [one for one in every if len(one.which)]
    if len(seen) < FEWEST:
        raise InputError(
            f"the board is seen in {len(seen)} of {len(every)} pictures, {FEWEST} are needed; take more, sharp, the"
            " whole board in them, tilted and in all parts of the picture"
        )
    used, left_out = seen, []
    while True:
        found = _solved(used, board, name, len(used) >= K3_FROM if k3 is None else k3)
        worse = _worse(found.fits)
        if not worse or len(used) - len(worse) < FEWEST:
            break
        left_out += [used[i] for i in worse]
        used = [one for i, one in enumerate(used) if i not in worse]
    outside = tuple(_fit(found.lens, board, one) for one in left_out)
    found = replace(found, left_out=outside, not_found=tuple(one.name for one in every if not len(one.which)))
    return replace(found, notes=(*_notes(found), *found.notes))


def _found(pictures: Iterable[tuple[str, Grey]], board: Board) -> list[Corners]:
    """Corners of every picture; where no picture shows the board, what they show instead."""
    corners: list[Corners] = []
    several: list[tuple[str, Grey]] = []
    for name, grey in pictures:
        size = (grey.shape[1], grey.shape[0])
        if corners and size != corners[0].size:
            raise InputError(
                f"{name} is {size[0]} x {size[1]} px and {corners[0].name} {corners[0].size[0]} x {corners[0].size[1]};"
                " take all pictures with one camera held one way, at the zoom and size of the recording"
            )
        corners.append(find_corners(board, name, grey))
        if len(several) < LOOKED_AT:
            several.append((name, grey))
    if any(len(one.which) for one in corners):
        return corners
    if board.kind == "charuco":
        _refuse_charuco(board, several)
    else:
        shown = [(seen_size(grey), name) for name, grey in several]
        sizes = [(seen, name) for seen, name in shown if seen is not None]
        # Of a board that is partly found the size comes out too small.
        (columns, rows), name = max(sizes, key=lambda one: one[0][0] * one[0][1], default=((0, 0), ""))
        if sizes and {columns, rows} != {board.columns, board.rows}:
            raise InputError(
                f"no picture shows a board of {board.columns} x {board.rows} inner corners, {name} shows one of"
                f" {columns} x {rows}; count the corners where four squares meet"
            )
    return corners


def _refuse_charuco(board: Board, several: Sequence[tuple[str, Grey]]) -> None:
    """Raise where pictures show another ChArUco board than the stated one."""
    for name, grey in several:
        seen = seen_charuco(board, grey)
        if seen is None:
            continue
        dictionary, columns, rows = seen
        if dictionary != board.dictionary:
            raise InputError(
                f"no picture shows markers of {board.dictionary}, {name} shows those of {dictionary}; give that"
                " dictionary"
            )
        if columns != board.columns:
            raise InputError(
                f"no picture shows a board of {board.columns} x {board.rows} inner corners, {name} shows one of"
                f" {columns} x {rows} (columns x rows, rows as far as they are seen); count the corners where four"
                " squares meet"
            )


def _solved(used: Sequence[Corners], board: Board, name: str, k3: bool) -> LensCalibration:
    """The lens by OpenCV, and every picture's residuals by our own camera."""
    cv2 = opencv()
    size = used[0].size
    places = [board.places[one.which].astype(np.float32)[:, None] for one in used]
    pixels = [one.pixels.astype(np.float32)[:, None] for one in used]
    until = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-10)
    _, matrix, bends, turns, shifts, sd, _, _ = cv2.calibrateCameraExtended(
        places, pixels, size, None, None, flags=0 if k3 else cv2.CALIB_FIX_K3, criteria=until
    )
    lens = Camera(matrix, np.eye(3), np.zeros(3), size, bends.ravel()[:5], name=name)
    poses = [(cv2.Rodrigues(turn)[0], shift.ravel()) for turn, shift in zip(turns, shifts, strict=True)]
    fits = []
    for one, (rotation, translation) in zip(used, poses, strict=True):
        there = replace(lens, rotation=rotation, translation=translation)
        fits.append(BoardFit(one.name, one.pixels, one.pixels - there.project(board.places[one.which])))
    tilts = [np.degrees(np.arccos(min(abs(float(rotation[2, 2])), 1.0))) for rotation, _ in poses]
    notes = []
    if max(tilts) < LEAST_TILT_DEG:
        notes.append("the board was square to the camera in every picture; tilt it, else the focal length is a guess")
    sd = sd.ravel()
    # Both focal lengths err alike for the most part; what errors of the lens have in common OpenCV does not tell.
    focal = float(np.mean((sd[:2] / np.diag(matrix)[:2]) ** 2))
    lens = replace(lens, covariance=np.diag([*np.zeros(6), focal, *sd[2:4] ** 2]))
    return LensCalibration(lens, sd[:2], sd[2:4], tuple(fits), (), (), _covered(fits, size), tuple(notes))


def _worse(fits: Sequence[BoardFit]) -> list[int]:
    """Pictures whose board fits far worse than the middle one; none when all fit within a fraction of a pixel."""
    rms = np.array([fit.rms_px for fit in fits])
    middle = float(np.median(rms))
    return [int(i) for i in np.flatnonzero((rms > WORSE * middle) & (rms > middle + WORSE_PX))]


def _fit(lens: Camera, board: Board, one: Corners) -> BoardFit:
    """A picture that the lens was not found from: its board's place alone is fitted."""
    cv2 = opencv()
    places = board.places[one.which]
    matrix, bends = np.array(lens.matrix), np.array(lens.distortion)
    _, turn, shift = cv2.solvePnP(places, one.pixels, matrix, bends)
    there = replace(lens, rotation=cv2.Rodrigues(turn)[0], translation=shift.ravel())
    return BoardFit(one.name, one.pixels, one.pixels - there.project(places))


def _covered(fits: Sequence[BoardFit], size: tuple[int, int]) -> npt.NDArray[np.bool_]:
    across, down = FIELDS
    pixels = np.concatenate([fit.pixels for fit in fits]) + 0.5
    field = np.floor(pixels / np.array(size) * (across, down)).astype(np.int64)
    inside = field[((field >= 0) & (field < (across, down))).all(axis=1)]
    covered = np.zeros((down, across), dtype=np.bool_)
    covered[inside[:, 1], inside[:, 0]] = True
    return covered


def _notes(found: LensCalibration) -> list[str]:
    notes = [
        f"{fit.name} was left out: its board fits to {fit.rms_px:.1f} px, the others to {found.rms_px:.1f}"
        for fit in found.left_out
    ]
    if found.not_found:
        names = ", ".join(found.not_found[:5]) + (" and others" if len(found.not_found) > 5 else "")
        notes.append(f"the board was not found in {len(found.not_found)} pictures: {names}")
    if found.coverage < COVERED:
        empty = _emptiest(found.covered)
        notes.append(
            f"the board covered {100 * found.coverage:.0f} % of the picture, least {empty}; the lens is a guess beyond"
        )
    return notes


def _emptiest(covered: npt.NDArray[np.bool_]) -> str:
    """The side of the picture that saw least of the board."""
    down, across = covered.shape
    shares = {
        "on the left": covered[:, : across // 3].mean(),
        "on the right": covered[:, -(across // 3) :].mean(),
        "at the top": covered[: down // 3].mean(),
        "at the bottom": covered[-(down // 3) :].mean(),
    }
    return min(shares, key=lambda side: shares[side])
