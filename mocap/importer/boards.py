"""Boards that show a lens, and their corners in pictures: chessboards and ChArUco boards, found by OpenCV.

OpenCV is the extra `cameras`; nothing else of the importer needs it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError

Grey = npt.NDArray[np.uint8]

#: What counts as a picture, and as a video, by its suffix.
PICTURES = {".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff", ".webp"}
VIDEOS = {".mp4", ".mov", ".avi", ".mkv", ".m4v", ".webm", ".mts"}
#: Of a video so many pictures are looked at, evenly spread, unless told otherwise. This project's default.
FROM_VIDEO = 40
#: How far round a corner its place is looked for, over the distance to the nearest other corner; more would take in the
#: next corner. This project's default.
WINDOW_SHARE, LEAST_WINDOW, MOST_WINDOW = 0.35, 3, 11
#: Fewest corners of a ChArUco board with which a picture counts. This project's default.
FEWEST_CORNERS = 8
#: Of a board that is not the stated one: fewest markers that tell which it is, and most columns. Our defaults.
FEWEST_MARKERS, MOST_COLUMNS = 6, 25
#: Dictionaries that are looked for where the stated one is not seen, by OpenCV's names.
DICTIONARIES = (
    *(f"DICT_{bits}X{bits}_{count}" for bits in (4, 5, 6, 7) for count in (50, 100, 250, 1000)),
    "DICT_ARUCO_ORIGINAL",
)


@dataclass(frozen=True)
class Board:
    """A flat board of black and white squares.

    Attributes
    ----------
    columns, rows : int
        Inner corners along both sides, where four squares meet: one less than squares.
    square_m : float
        Side of a square. [m]
    kind : {"chessboard", "charuco"}
        A ChArUco board carries a marker in every white square and may be seen in part.
    marker_m : float or None
        Side of a marker. [m]
    dictionary : str
        Which markers, by OpenCV's name.

    Raises
    ------
    OptionError
        A board that cannot be.
    """

    columns: int
    rows: int
    square_m: float
    kind: Literal["chessboard", "charuco"] = "chessboard"
    marker_m: float | None = None
    dictionary: str = "DICT_4X4_50"

    def __post_init__(self) -> None:
        if self.columns < 3 or self.rows < 3:
            raise OptionError(f"a board needs at least 3 x 3 inner corners, got {self.columns} x {self.rows}")
        if not 0.0 < self.square_m < 2.0:
            raise OptionError(f"square_m must be metres, got {self.square_m:g}; a square of 60 mm is 0.060")
        if self.kind == "charuco" and not (self.marker_m and 0.0 < self.marker_m < self.square_m):
            raise OptionError("marker_m must be given for a ChArUco board, smaller than square_m")

    @property
    def places(self) -> FloatArray:
        """Corners on the board, row by row, shape (rows columns, 3). [m]"""
        rows, columns = np.mgrid[: self.rows, : self.columns]
        return self.square_m * np.column_stack([columns.ravel(), rows.ravel(), np.zeros(rows.size)])


@dataclass(frozen=True, eq=False)
class Corners:
    """A board in one picture.

    Attributes
    ----------
    name : str
        Of the picture.
    size : tuple of 2 ints
        Of the picture. [px]
    which : ndarray of int, shape (K,)
        Rows of `Board.places`; empty where the board was not found.
    pixels : ndarray, shape (K, 2)
        [px]
    """

    name: str
    size: tuple[int, int]
    which: npt.NDArray[np.int64]
    pixels: FloatArray


def opencv() -> ModuleType:
    """OpenCV's module.

    Raises
    ------
    OptionError
        It is not installed.
    """
    try:
        import cv2
    except ImportError:
        raise OptionError(
            'finding a board needs OpenCV; install it with: pip install "mocap-hitting[cameras]"'
        ) from None
    return cv2


def read_pictures(source: str | Path | Sequence[str | Path], *, every: int | None = None) -> Iterator[tuple[str, Grey]]:
    """Pictures of a folder, a pattern (`shots/*.jpg`), a list of files, or a video.

    Parameters
    ----------
    source : str, Path or sequence of them
    every : int, optional
        Of a video: the sharpest of each so many pictures; else so that `FROM_VIDEO` are taken.

    Yields
    ------
    name : str
    grey : ndarray of uint8, shape (height, width)
        Upright, as the file says.

    Raises
    ------
    InputError
        Nothing there, a file that is no picture, a video that cannot be read.
    """
    cv2 = opencv()
    paths = _paths(source)
    if len(paths) == 1 and paths[0].suffix.lower() in VIDEOS:
        yield from _sharp_pictures(cv2, paths[0], every)
        return
    for path in paths:
        # Not imread, which cannot open names beyond the system's code page.
        grey = cv2.imdecode(np.fromfile(path, dtype=np.uint8), cv2.IMREAD_GRAYSCALE) if path.stat().st_size else None
        if grey is None:
            raise InputError(f"{path}: not a picture that can be read; take it out or save it as JPEG or PNG")
        yield path.name, grey


def video_rate(source: str | Path | Sequence[str | Path]) -> float | None:
    """Pictures per second that a video states; None where the source is no video, or it states none. [Hz]"""
    paths = _paths(source)
    if len(paths) != 1 or paths[0].suffix.lower() not in VIDEOS:
        return None
    cv2 = opencv()
    video = cv2.VideoCapture(str(paths[0]))
    try:
        rate = float(video.get(cv2.CAP_PROP_FPS))
    finally:
        video.release()
    return rate if 0.0 < rate < 1e5 else None


def find_corners(board: Board, name: str, grey: Grey) -> Corners:
    """Look for a board in a picture.

    Parameters
    ----------
    board : Board
    name : str
    grey : ndarray of uint8, shape (height, width)

    Returns
    -------
    Corners
        Empty where the board is not seen whole (of a ChArUco board: less than `FEWEST_CORNERS`).
    """
    cv2 = opencv()
    which, pixels = (_charuco if board.kind == "charuco" else _chessboard)(cv2, board, grey)
    return Corners(name, (grey.shape[1], grey.shape[0]), which, pixels)


def seen_size(grey: Grey) -> tuple[int, int] | None:
    """Inner corners (columns, rows) of whatever chessboard a picture shows; None where none is found."""
    cv2 = opencv()
    flags = cv2.CALIB_CB_LARGER | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_EXHAUSTIVE
    found, _, meta = cv2.findChessboardCornersSBWithMeta(grey, (3, 3), flags)
    return (int(meta.shape[1]), int(meta.shape[0])) if found and meta is not None else None


def seen_charuco(board: Board, grey: Grey) -> tuple[str, int, int] | None:
    """Dictionary and inner corners (columns, rows) of whatever ChArUco board a picture shows; None where none is found.

    Of a board of which the picture shows a part, the rows come out too few.
    """
    cv2 = opencv()
    # A dictionary of 50 markers is the beginning of those of 100 and more; the stated one is believed first.
    for name in (board.dictionary, *DICTIONARIES):
        markers = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
        found, ids, _ = cv2.aruco.ArucoDetector(markers).detectMarkers(grey)
        if ids is None or len(ids) < FEWEST_MARKERS:
            continue
        for columns in range(3, MOST_COLUMNS):
            # Every other square has a marker, numbered row by row.
            rows = max(int(np.ceil(2 * (int(ids.max()) + 1) / (columns + 1))) - 1, 3)
            if (columns + 1) * (rows + 1) // 2 > len(markers.bytesList):
                continue
            shape = (columns + 1, rows + 1)
            target = cv2.aruco.CharucoBoard(shape, 1.0, (board.marker_m or 0.75) / board.square_m, markers)
            corners = cv2.aruco.CharucoDetector(target).detectBoard(grey, markerCorners=found, markerIds=ids)[1]
            if corners is not None and len(corners) >= FEWEST_CORNERS:
                return name, columns, rows
    return None


def _paths(source: str | Path | Sequence[str | Path]) -> list[Path]:
    """Files of a source, by name."""
    if not isinstance(source, (str, Path)):
        paths = [Path(item) for item in source]
    elif Path(source).is_dir():
        paths = [path for path in Path(source).iterdir() if path.suffix.lower() in PICTURES]
    elif any(mark in str(source) for mark in "*?["):
        paths = list(Path(source).parent.glob(Path(source).name))
    else:
        paths = [Path(source)]
    for path in paths:
        if not path.is_file():
            raise InputError(f"{path}: no such picture, video or folder")
    if not paths:
        raise InputError(f"{source}: holds no pictures; give JPEG or PNG files, or a video")
    return sorted(paths)


def _sharp_pictures(cv2: Any, path: Path, every: int | None) -> Iterator[tuple[str, Grey]]:
    """The sharpest picture (largest variance of the second derivative) of every so many of a video."""
    video = cv2.VideoCapture(str(path))
    try:
        total = int(video.get(cv2.CAP_PROP_FRAME_COUNT))
        step = every or max(total // FROM_VIDEO, 1)
        best: tuple[float, int, Grey] | None = None
        frame = -1
        while True:
            good, picture = video.read()
            if good:
                frame += 1
                grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
                sharp = float(cv2.Laplacian(grey, cv2.CV_32F).var())
                best = (sharp, frame, grey) if best is None or sharp > best[0] else best
            if best is not None and (not good or (frame + 1) % step == 0):
                yield f"{path.name} frame {best[1]}", best[2]
                best = None
            if not good:
                break
    finally:
        video.release()
    if frame < 0:
        raise InputError(f"{path}: no picture of the video can be read; save it as MP4 with H.264")


def _chessboard(cv2: Any, board: Board, grey: Grey) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """All inner corners, or none."""
    shape, flags = (board.columns, board.rows), cv2.CALIB_CB_NORMALIZE_IMAGE
    found, corners = cv2.findChessboardCornersSB(grey, shape, flags | cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY)
    if not found:
        found, corners = cv2.findChessboardCorners(grey, shape, flags | cv2.CALIB_CB_ADAPTIVE_THRESH)
        if found:
            corners = _sharpened(cv2, grey, corners, shape)
    if not found:
        return np.empty(0, dtype=np.int64), np.empty((0, 2))
    return np.arange(board.columns * board.rows), np.asarray(corners, dtype=np.float64).reshape(-1, 2)


def _sharpened(cv2: Any, grey: Grey, corners: Any, shape: tuple[int, int]) -> Any:
    """Corners to a fraction of a pixel, each from a neighbourhood that holds no other."""
    grid = np.asarray(corners, dtype=np.float64).reshape(shape[1], shape[0], 2)
    nearest = min(np.linalg.norm(np.diff(grid, axis=axis), axis=-1).min() for axis in (0, 1))
    window = int(np.clip(WINDOW_SHARE * nearest, LEAST_WINDOW, MOST_WINDOW))
    until = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 100, 1e-4)
    return cv2.cornerSubPix(grey, corners, (window, window), (-1, -1), until)


def _charuco(cv2: Any, board: Board, grey: Grey) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """The inner corners whose neighbouring markers were read."""
    code = getattr(cv2.aruco, board.dictionary, None)
    if code is None:
        raise OptionError(f"the dictionary of markers {board.dictionary!r} is not known to OpenCV")
    markers = cv2.aruco.getPredefinedDictionary(code)
    target = cv2.aruco.CharucoBoard((board.columns + 1, board.rows + 1), board.square_m, board.marker_m, markers)
    corners, which, _, _ = cv2.aruco.CharucoDetector(target).detectBoard(grey)
    if which is None or len(which) < FEWEST_CORNERS:
        return np.empty(0, dtype=np.int64), np.empty((0, 2))
    return np.asarray(which, dtype=np.int64).ravel(), np.asarray(corners, dtype=np.float64).reshape(-1, 2)
