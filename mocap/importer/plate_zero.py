"""What a force plate reads while nobody stands on it: where in the recording that is, so that it can be taken off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mocap.capture import FloatArray

#: FORCE_PLATFORM:ZERO for a file that asks for no zeroing (C3D user guide), and for one that names no frames.
NO_ZEROING, NO_RANGE = (0, 0), (1, 0)
#: A plate that nobody stands on reads less than this, this project's default. [N]
UNLOADED_LEVEL_N = 30.0
#: In frames that the file itself names it may read up to this, if it reads no less anywhere and far more later. [N]
STATED_LEVEL_N = 100.0
#: Standard deviation of the noise of an unloaded plate, at most; recordings in labs show 0.3 to 8.5 N. [N]
QUIET_SD_N = 10.0
#: The shortest time that counts as unloaded, in two halves that must both be quiet. [s]
SHORTEST_S = 0.1
#: Quiet stretches whose level lies this close to the lowest belong to the same unloaded plate. [N]
SAME_LEVEL_N = 5.0
#: An offset below this is left alone where the file names no frames. [N]
WORTH_MOVING_N = 1.0


@dataclass(frozen=True)
class Zeroing:
    """Which samples tell the zero, and what is to be said of it.

    Attributes
    ----------
    rows : ndarray of bool, shape (A,), or None
        Samples whose mean is to be taken off every channel; None for nothing to be taken off.
    where : str
        Where that is, for a note.
    warning : str
        What was wrong with the file's own zero, empty where nothing was.
    """

    rows: np.ndarray | None
    where: str = ""
    warning: str = ""


def zeroing(vertical: FloatArray, rate_hz: float, samples_per_frame: int, stated: tuple[int, int] | None) -> Zeroing:
    """Where a plate's zero can be read.

    Parameters
    ----------
    vertical : ndarray, shape (A,)
        Force along the plate's normal, of either sign. [N]
    rate_hz : float
        Sampling rate. [Hz]
    samples_per_frame : int
    stated : (int, int) or None
        FORCE_PLATFORM:ZERO, frames counted from 1; None where the file has none.

    Returns
    -------
    Zeroing

    Notes
    -----
    The frames that the file names count only where the plate is unloaded in them (C3D user guide,
    FORCE_PLATFORM:ZERO: the reader has to make sure of that). Else the lowest level that the plate keeps for 0.1 s
    is taken if it is below 30 N; a plate that the person stands on throughout keeps its zero. ZERO 0 0 asks for none.
    """
    if stated == NO_ZEROING:
        rows = _quiet_rows(vertical, rate_hz)
        level = 0.0 if rows is None else float(vertical[rows].mean())
        doubt = f"reads {level:.0f} N at its quietest, and the file asks for no zeroing (ZERO 0 0)"
        return Zeroing(None, warning=doubt if abs(level) >= SAME_LEVEL_N else "")
    warning = ""
    if stated is not None and (rows := _stated_rows(len(vertical), samples_per_frame, stated)) is not None:
        frames = f"frames {max(stated[0], 1)} to {stated[1]}"
        if _unloaded(vertical, rows, rate_hz):
            return Zeroing(rows, f"{frames}, as the file says")
        warning = f"it is loaded in {frames}, which the file gives for its zero; they are not used for it"
    rows = _quiet_rows(vertical, rate_hz)
    if rows is None or abs(float(vertical[rows].mean())) < WORTH_MOVING_N:
        return Zeroing(None, warning=warning)
    return Zeroing(rows, f"found over {rows.sum() / rate_hz:.2f} s", warning)


def _stated_rows(samples: int, samples_per_frame: int, stated: tuple[int, int]) -> np.ndarray | None:
    """The samples of the stated frames; a first frame of 0 stands for 1 (C3D user guide)."""
    first, last = max(stated[0], 1), stated[1]
    if last < first:
        return None
    rows = np.zeros(samples, dtype=bool)
    rows[(first - 1) * samples_per_frame : last * samples_per_frame] = True
    return rows if rows.any() else None


def _unloaded(vertical: FloatArray, rows: np.ndarray, rate_hz: float) -> bool:
    level, noise = float(vertical[rows].mean()), float(vertical[rows].std())
    if not noise <= QUIET_SD_N:
        return False
    if abs(level) <= UNLOADED_LEVEL_N:
        return True
    lowest = float(np.abs(_levels(vertical, rate_hz)[0]).min(initial=np.inf))
    return abs(level) <= min(STATED_LEVEL_N, lowest + SAME_LEVEL_N, float(np.abs(vertical).max()) / 4)


def _levels(vertical: FloatArray, rate_hz: float) -> tuple[FloatArray, FloatArray, int]:
    """Mean and standard deviation over stretches of half the shortest time, and the samples in each."""
    size = max(int(np.ceil(min(SHORTEST_S / 2 * rate_hz, len(vertical) + 1))), 1)
    blocks = vertical[: len(vertical) // size * size].reshape(-1, size)
    return blocks.mean(axis=1), blocks.std(axis=1), size


def _quiet_rows(vertical: FloatArray, rate_hz: float) -> np.ndarray | None:
    """Samples at the lowest level that is kept for the shortest time, None where there is none below the limit."""
    level, noise, size = _levels(vertical, rate_hz)
    quiet = (np.abs(level) < UNLOADED_LEVEL_N) & (noise <= QUIET_SD_N)
    lasting = quiet & (np.append(quiet[1:], False) | np.append(False, quiet[:-1]))
    if not lasting.any():
        return None
    # A foot pushes one way only: the lowest level is the one that lies farthest from the pushing side.
    push = np.sign(vertical[np.argmax(np.abs(vertical))])
    height = push * level
    same = lasting & (height < height[lasting].min() + SAME_LEVEL_N)
    rows = np.zeros(len(vertical), dtype=bool)
    rows[: len(same) * size] = np.repeat(same, size)
    return rows if rows.any() else None
