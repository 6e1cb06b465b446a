"""Keypoints as open estimators of poses in pictures write them: a folder with one JSON file per frame.

Each file holds `{"people": [{"pose_keypoints_2d": [x, y, confidence, x, y, ...]}, ...]}`; the last number in its name
is the frame. How many numbers a person has says the order of the points (`assets/tables/body_orders.toml`).

Only one person hits. Where several are in a picture, one is followed from frame to frame: the one who is largest over
the recording, or who stands nearest to a given pixel. The others are told of, as are frames in which it is not sure who
is who: two cameras that follow different people give a body that is none.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from mocap.assets import asset
from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.importer.keypoints import Keypoints, joined, read_keypoints

#: The last number of a file's name.
FRAME_NUMBER = re.compile(r"(\d+)(?!.*\d)")
#: From one frame to the next a person moves less than this share of his size in the picture, and no further however
#: long he was not seen than `FARTHEST`. This project's defaults.
STEP, FARTHEST = 0.15, 0.6
#: It is not sure who is who where the next one is within reach and no farther than this many times as far, or where he
#: is so near in shares of the hitter's size that an estimator mixes the two. This project's defaults.
UNSURE, ON_TOP = 2.0, 0.05
#: Some estimators' scores pass 1 a little (from memory); up to this they count as 1, beyond it they are no confidence.
SUREST = 2.0
#: Fewer points than this are no person.
FEWEST = 4
Person = FloatArray


@dataclass(frozen=True)
class BodyOrder:
    """An order of the points of a body.

    Attributes
    ----------
    names : tuple of str
        Ours, by the point's number.
    derived : tuple of (str, (str, str))
        Names of points that the order lacks, and the two between which they lie.
    """

    names: tuple[str, ...]
    derived: tuple[tuple[str, tuple[str, str]], ...]


@lru_cache(maxsize=1)
def body_orders() -> dict[int, BodyOrder]:
    """Every known order, by the number of its points."""
    table = tomllib.loads(asset("tables", "body_orders.toml").read_text(encoding="utf-8"))
    return {
        int(count): BodyOrder(
            tuple(row["points"]),
            tuple((name, (a, b)) for name, (a, b) in table["derived"].items() if name not in row["points"]),
        )
        for count, row in table["orders"].items()
    }


def read_pose_folder(
    folder: str | Path, *, near: tuple[float, float] | None = None, bat: str | Path | None = None
) -> Keypoints:
    """Read the points of the hitter from a folder of JSON files.

    Parameters
    ----------
    folder : str or Path
    near : tuple of 2 floats, optional
        A pixel near which the hitter stands when he is first seen; else he is the largest person. [px]
    bat : str or Path, optional
        Table `frame,point,u,v,confidence` of the bat's ends (`bat_knob`, `bat_barrel`) in the same pictures.

    Returns
    -------
    Keypoints
        Notes say how many people were seen, who was followed and where that is unsure.

    Raises
    ------
    InputError
        No such folder, no JSON file in it, a name without a frame's number, two files of one frame, no JSON, no list
        of people, a number of points that no known order has, a value that is no number, or nobody in any frame.
    """
    folder = Path(folder)
    files = _files(folder)
    frames = sorted(files)
    people = [_people(files[frame]) for frame in frames]
    counts = {len(person) for those in people for person in those}
    if not counts:
        raise InputError(f"{folder}: nobody was found in any of {len(files)} frames; run the estimator again")
    if len(counts) > 1:
        raise InputError(f"{folder}: files of {' and '.join(map(str, sorted(counts)))} points; keep those of one order")
    order = body_orders()[counts.pop()]
    chosen, notes = _followed(frames, people, near)
    first, total = frames[0], frames[-1] - frames[0] + 1
    if total > 10 * len(frames):
        raise InputError(f"{folder}: {len(frames)} files for {total} frames ({files[frames[-1]].name} is the last)")
    if total > len(frames):
        notes.append(f"{total - len(frames)} of {total} frames have no file; left as gaps")
    found = np.full((total, len(order.names), 3), np.nan)
    for frame, those, number in zip(frames, people, chosen, strict=True):
        if number >= 0:
            found[frame - first] = those[number]
    names, found = _with_derived(order, found)
    body = Keypoints(names, found[..., :2], found[..., 2], first, str(folder), tuple(notes))
    return body if bat is None else joined(body, read_keypoints(bat))


def _files(folder: Path) -> dict[int, Path]:
    """Every JSON file of a folder by its frame."""
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder; give the folder with one JSON file per frame")
    files: dict[int, Path] = {}
    for path in sorted(folder.glob("*.json")):
        number = FRAME_NUMBER.search(path.stem)
        if number is None:
            raise InputError(f"{path}: no number in the name says which frame it is; name it like clip_000012.json")
        frame = int(number[1])
        if frame in files:
            raise InputError(f"{path}: is frame {frame}, as {files[frame].name} is; keep the files of one clip")
        files[frame] = path
    if not files:
        raise InputError(f"{folder}: no JSON file in it; give the folder with one JSON file per frame")
    return files


def _people(path: Path) -> list[Person]:
    """Everybody in one frame, each (K, 3): x, y, confidence; NaN where a point was not found."""
    try:
        content: Any = json.loads(path.read_text(encoding="utf-8"))
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: not a JSON file ({error}); write it again") from error
    those = content.get("people") if isinstance(content, dict) else None
    if not isinstance(those, list):
        raise InputError(f"{path}: no list 'people'; give files with people[].pose_keypoints_2d")
    found = []
    for number, one in enumerate(those):
        flat = one.get("pose_keypoints_2d") if isinstance(one, dict) else None
        if not isinstance(flat, list):
            raise InputError(f"{path}: people[{number}] has no list 'pose_keypoints_2d'")
        if not flat:
            continue  # hands or a face without a body
        known = body_orders()
        if len(flat) % 3 or len(flat) // 3 not in known:
            sizes = ", ".join(map(str, known))
            raise InputError(
                f"{path}: people[{number}].pose_keypoints_2d has {len(flat)} numbers; give three for each of {sizes}"
                " points"
            )
        found.append(_person(path, number, flat))
    return [person for person in found if np.isfinite(person[:, 2]).sum() >= FEWEST]


def _person(path: Path, number: int, flat: list[Any]) -> Person:
    where = f"{path}: people[{number}].pose_keypoints_2d"
    if not all(type(value) in (int, float, type(None)) for value in flat):
        at = next(i for i, value in enumerate(flat) if type(value) not in (int, float, type(None)))
        raise InputError(f"{where}[{at}] is {flat[at]!r}; give numbers")
    points = np.array(flat, dtype=np.float64).reshape(-1, 3)
    sure = points[:, 2]
    if (sure > SUREST).any() or (sure < 0).any():
        at = int(np.flatnonzero((sure > SUREST) | (sure < 0))[0])
        raise InputError(f"{where}[{3 * at + 2}], a confidence, is {sure[at]:g}; give 0 to 1")
    lost = ~np.isfinite(points).all(axis=1) | (sure == 0)
    points[:, 2] = np.minimum(sure, 1.0)
    return np.where(lost[:, None], np.nan, points)


def _with_derived(order: BodyOrder, found: FloatArray) -> tuple[tuple[str, ...], FloatArray]:
    """The order's points and those that lie midway between two of them."""
    added = []
    for _, ends in order.derived:
        a, b = (found[:, order.names.index(name)] for name in ends)
        added.append(np.column_stack([(a[:, :2] + b[:, :2]) / 2, np.minimum(a[:, 2], b[:, 2])]))
    names = (*order.names, *(name for name, _ in order.derived))
    return names, np.concatenate([found, *(one[:, None] for one in added)], axis=1)


# -------------------------------------------------------------------- who is who


def _size(person: Person) -> float:
    """Diagonal of the box round a person. [px]"""
    seen = person[np.isfinite(person[:, 2]), :2]
    return float(np.hypot(*np.ptp(seen, axis=0)))


def _distance(one: Person, other: Person) -> float:
    """Median distance of the points that both have, else of their middles. [px]"""
    apart = np.hypot(*(one[:, :2] - other[:, :2]).T)
    if np.isfinite(apart).sum() >= FEWEST:
        return float(np.nanmedian(apart))
    return float(np.hypot(*(np.nanmedian(one[:, :2], axis=0) - np.nanmedian(other[:, :2], axis=0))))


def _followed(
    frames: Sequence[int], people: Sequence[Sequence[Person]], near: tuple[float, float] | None
) -> tuple[npt.NDArray[np.int64], list[str]]:
    """Which person of every frame is the hitter (-1 for none), and what to tell about it.

    The start is the frame in which the largest person is seen best; from there each frame's nearest is taken, forward
    and back, within what a person can move. With `near` the start is the first frame with anybody.
    """
    chosen = np.full(len(frames), -1)
    start, person = _start(people, near)
    chosen[start] = person
    unsure: list[int] = []
    for way in (range(start + 1, len(frames)), range(start - 1, -1, -1)):
        last, when = people[start][person], frames[start]
        for index in way:
            number, sure = _nearest(last, people[index], abs(frames[index] - when))
            if not sure:
                unsure.append(frames[index])
            if number >= 0:
                chosen[index] = number
                last, when = people[index][number], frames[index]
    return chosen, _told(frames, people, chosen, sorted(unsure), near)


def _start(people: Sequence[Sequence[Person]], near: tuple[float, float] | None) -> tuple[int, int]:
    """Frame and person from which the hitter is followed."""
    if near is not None:
        index = next(i for i, those in enumerate(people) if those)
        middles = [np.nanmedian(person[:, :2], axis=0) for person in people[index]]
        return index, int(np.argmin([np.hypot(*(middle - np.array(near))) for middle in middles]))
    # Size times summed confidence: one frame in which two people were taken for one is large but poor.
    best = [
        (_size(person) * np.nansum(person[:, 2]), index, number)
        for index, those in enumerate(people)
        for number, person in enumerate(those)
    ]
    # A high quantile, not the greatest: the greatest may be such a mistake.
    _, index, number = sorted(best)[int(0.9 * (len(best) - 1))]
    return index, number


def _nearest(last: Person, those: Sequence[Person], steps: int) -> tuple[int, bool]:
    """Nearest person within reach (-1 for none), and whether there is no doubt."""
    size = _size(last)
    reach = min(STEP * steps, FARTHEST) * size
    distances = np.array([_distance(last, person) for person in those])
    order = np.argsort(distances)
    if not len(order):
        return -1, True
    best = distances[order[0]]
    if best > reach:
        return -1, False
    rival = distances[order[1]] if len(order) > 1 else np.inf
    return int(order[0]), bool(rival > max(min(UNSURE * best, reach), ON_TOP * size))


def _told(
    frames: Sequence[int],
    people: Sequence[Sequence[Person]],
    chosen: npt.NDArray[np.int64],
    unsure: list[int],
    near: tuple[float, float] | None,
) -> list[str]:
    notes = []
    most = max(map(len, people))
    if most > 1:
        several = sum(len(those) > 1 for those in people)
        at = int(np.flatnonzero(chosen >= 0)[0])
        u, v = np.nanmedian(people[at][chosen[at]][:, :2], axis=0)
        who = "the largest" if near is None else f"the one near ({near[0]:.0f}, {near[1]:.0f})"
        notes.append(
            f"up to {most} people in a picture ({several} of {len(frames)} frames show several); {who} is followed, at"
            f" ({u:.0f}, {v:.0f}) in frame {frames[at]}; if that is not the hitter, give a pixel near him"
        )
    if unsure:
        notes.append(
            f"it is not sure who is the hitter in {len(unsure)} frames (the first is frame {unsure[0]}): people cross,"
            " or he leaps; look at them"
        )
    lost = [frame for frame, number in zip(frames, chosen, strict=True) if number < 0]
    if lost:
        notes.append(f"the hitter was not found in {len(lost)} of {len(frames)} frames (the first is frame {lost[0]})")
    return notes
