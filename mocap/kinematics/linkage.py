"""A body as a tree of rigid segments: lengths and places of points that do not change over a recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Linkage:
    """Rigid segments joined in a tree, with points fixed to them.

    Attributes
    ----------
    segments : tuple of str, length S
        The root first, every other segment after its parent.
    parent : tuple of int, length S
        Index of the parent; -1 for the root.
    joint_m : ndarray, shape (S, 3)
        Place of the joint with the parent, which is the segment's origin, in the parent's axes; zero for the root. [m]
    slack_m : tuple of float, length S
        How far the joint may leave that place, one standard deviation per axis; zero where it is a ball joint. [m]
    points : tuple of str, length M
    segment_of : ndarray of int, shape (M,)
        Index of the segment each point is fixed to.
    local_m : ndarray, shape (M, 3)
        Place of each point in that segment's axes, from its origin. [m]
    sd_m : ndarray, shape (M,)
        How far a point may move over its segment, noise included, one standard deviation per axis. [m]
    """

    segments: tuple[str, ...]
    parent: tuple[int, ...]
    joint_m: FloatArray
    slack_m: tuple[float, ...]
    points: tuple[str, ...]
    segment_of: IntArray
    local_m: FloatArray
    sd_m: FloatArray

    def lengths(self) -> dict[str, float]:
        """Length from each segment's origin to the joint of its only child, by the segment's name. [m]"""
        children: dict[int, list[int]] = {}
        for index, above in enumerate(self.parent):
            children.setdefault(above, []).append(index)
        return {
            self.segments[index]: float(np.linalg.norm(self.joint_m[below[0]]))
            for index, below in children.items()
            if index >= 0 and len(below) == 1
        }


@dataclass(frozen=True)
class Pose:
    """Where the segments of a linkage are, in F frames.

    Attributes
    ----------
    rotation : ndarray, shape (S, F, 3, 3)
        World from segment.
    origin : ndarray, shape (S, F, 3)
        [m]
    shift : ndarray, shape (S, F, 3)
        How far each joint has left its place, in the parent's axes; the root's is zero. [m]
    """

    rotation: FloatArray
    origin: FloatArray
    shift: FloatArray


def place(linkage: Linkage, rotation: FloatArray, root: FloatArray, shift: FloatArray) -> Pose:
    """Origins of all segments from their rotations.

    Parameters
    ----------
    linkage : Linkage
    rotation : ndarray, shape (S, F, 3, 3)
    root : ndarray, shape (F, 3)
        Origin of the root. [m]
    shift : ndarray, shape (S, F, 3)
        [m]

    Returns
    -------
    Pose
    """
    origin = np.empty(rotation.shape[:3])
    origin[0] = root
    for index, above in enumerate(linkage.parent):
        if above >= 0:
            arm = linkage.joint_m[index] + shift[index]
            origin[index] = origin[above] + np.matmul(rotation[above], arm[..., None])[..., 0]
    return Pose(rotation, origin, shift)


def points_at(linkage: Linkage, pose: Pose) -> FloatArray:
    """Points of a linkage in a pose, shape (F, M, 3). [m]"""
    owner = linkage.segment_of
    turned = np.matmul(pose.rotation[owner], linkage.local_m[:, None, :, None])[..., 0]
    return np.swapaxes(pose.origin[owner] + turned, 0, 1)


def ranked(segment_of: IntArray) -> tuple[IntArray, IntArray, list[tuple[int, int]]]:
    """Order of the points: first one point of each segment, then a second one of those that have two, and so on.

    Segments with most points come first (the second array returned), so that each round begins with the same segments
    as the one before, and the points of a segment add up by whole blocks. The rounds' spans come last.
    """
    segments, counts = np.unique(segment_of, return_counts=True)
    crowded = segments[np.argsort(-counts, kind="stable")]
    owned = [np.flatnonzero(segment_of == segment) for segment in crowded]
    rounds = [[int(points[rank]) for points in owned if len(points) > rank] for rank in range(int(counts.max()))]
    edges = np.cumsum([0] + [len(round_) for round_ in rounds]).tolist()
    return np.concatenate(rounds).astype(np.intp), crowded, list(pairwise(edges))


def levels(parent: Sequence[int]) -> list[IntArray]:
    """Segments by their distance from the root."""
    depth: list[int] = []
    for above in parent:
        depth.append(0 if above < 0 else depth[above] + 1)
    return [np.flatnonzero(np.array(depth) == level) for level in range(max(depth) + 1)]
