"""What the skeleton of a recording consists of: its segments, joints, and the points on them, measured from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.kinematics.joint_centres import Body
from mocap.kinematics.linkage import Linkage, Pose, place
from mocap.kinematics.pose_solver import Hold
from mocap.kinematics.segment_frames import axes_from

#: Segments from the pelvis outward: the segment above, and the joint centre between the two, without a side. The joints
#: of thorax, head and clavicle are no recorded points; they are found below.
TRUNK = {"pelvis": "", "thorax": "pelvis", "head": "thorax"}
LIMBS = {
    "clavicle": ("thorax", ""),
    "upper_arm": ("clavicle", "shoulder"),
    "forearm": ("upper_arm", "elbow"),
    "hand": ("forearm", "wrist"),
    "thigh": ("pelvis", "hip"),
    "shank": ("thigh", "knee"),
    "foot": ("shank", "ankle"),
    "toes": ("foot", "ball"),
}
#: Joint centres and the segment on which they lie, the upper one of the two that meet there.
JOINTS = {joint: above for above, joint in LIMBS.values() if joint}
SEGMENT_OF_CENTRE = JOINTS | {"head": "head", "head_top": "head", "heel": "foot", "toe": "toes", "hand": "hand"}
#: The spine bends over its whole length; as one joint it gives by about this much. [m] This project's default.
LUMBAR_SLACK_M, NECK_SLACK_M = 0.03, 0.03
#: Where those joints are looked for, as a share of the way from mid-hips to mid-shoulders and from there to the head,
#: and how far from there they may be found. [m] This project's defaults: the lower back and the base of the neck.
LUMBAR_SHARE, NECK_SHARE, SEARCH_SD_M = 0.35, 0.30, 0.03
#: A toe tip on a foot whose ball is no point of its own: bent toes move it by so much over the foot. [m] This project's
#: default.
BENT_TOES_M = 0.045
#: The axes found frame by frame count as measurements of this standard deviation: they hold what no point shows, as a
#: limb's roll. Posed swings with 3 to 10 mm of noise: with 0.5 rad and more the thorax errs by up to six times as much
#: and feet roll over, with 0.05 the joints lose accuracy. Where a frame has no axes those of the nearest do. [rad]
KNOWN_RAD, GUESSED_RAD = 0.1, 1.0
#: Two segments' motion shows a joint between them through about this many independent postures, to this. [m]
POSTURES, JOINT_SD_M = 10, 0.01
#: Sternoclavicular joint beside the middle of the chest, and how well its place is known. [m] This project's default.
STERNOCLAVICULAR_M = 0.02


@dataclass(frozen=True)
class Model:
    """A linkage and the joint centres on it.

    Attributes
    ----------
    linkage : Linkage
    pinned : ndarray of bool, shape (M,)
        Points that are joint centres: their place is the joint's and is not taken anew from the poses.
    centres : mapping of str to (str, ndarray of shape (3,))
        Segment and place of each joint centre. [m]
    """

    linkage: Linkage
    pinned: npt.NDArray[np.bool_]
    centres: Mapping[str, tuple[str, FloatArray]]

    def with_places(self, local_m: FloatArray) -> Model:
        """The same model with its points at other places on their segments, but for the pinned ones."""
        kept = np.where(self.pinned[:, None], self.linkage.local_m, local_m)
        return replace(self, linkage=replace(self.linkage, local_m=kept))

    def marks(self) -> Linkage:
        """The same linkage with the joint centres for points."""
        owner = np.array([self.linkage.segments.index(segment) for segment, _ in self.centres.values()], dtype=np.intp)
        local = np.stack([where for _, where in self.centres.values()])
        names = tuple(self.centres)
        return replace(self.linkage, points=names, segment_of=owner, local_m=local, sd_m=np.ones(len(names)))


def measured_model(body: Body, frames: Mapping[str, FloatArray]) -> tuple[Model, Pose, Hold]:
    """The model of a recording, its pose before it is fitted, and the orientations that the fit is held to.

    Parameters
    ----------
    body : Body
    frames : mapping of str to ndarray, shape (F, 3, 3)
        Axes of the segments as found frame by frame, `segment_frames`.

    Returns
    -------
    (Model, Pose, Hold)

    Raises
    ------
    InputError
        Pelvis or thorax cannot be placed in any frame.
    """
    rotation, origin = _segments(body, frames)
    names = tuple(rotation)
    parents = [_parent(name) for name in names]
    joint = np.zeros((len(names), 3))
    for index, (name, above) in enumerate(zip(names, parents, strict=True)):
        if above:
            joint[index] = _median_place(rotation[above], origin[above], origin[name])
    slack = tuple({"thorax": LUMBAR_SLACK_M, "head": NECK_SLACK_M}.get(name, 0.0) for name in names)
    parent = tuple(names.index(above) if above else -1 for above in parents)
    places = _places_of_points(body, rotation, origin)
    points = tuple(places)
    owner = np.array([names.index(segment) for segment, _ in places.values()], dtype=np.intp)
    local = np.stack([where for _, where in places.values()])
    sd = np.array([_sd(body, point, segment) for point, (segment, _) in places.items()])
    linkage = Linkage(names, parent, joint, slack, points, owner, local, sd)
    centres = _places_of_centres(body, linkage, rotation, origin)
    pinned = np.array([_split(point)[1] in JOINTS and point in centres for point in points])
    for number, point in enumerate(points):
        if pinned[number]:
            local[number] = centres[point][1]
    pose = _first_pose(linkage, rotation, origin["pelvis"])
    known = np.stack([np.isfinite(rotation[name]).all(axis=(1, 2)) for name in names])
    return Model(linkage, pinned, centres), pose, Hold(pose.rotation, np.where(known, KNOWN_RAD, GUESSED_RAD))


def _sd(body: Body, point: str, segment: str) -> float:
    """How far a point may move over its segment. [m]"""
    sd = body.marker_sd_m[point]
    bends = _split(point)[1] == "toe" and segment.endswith("foot")
    return max(sd, BENT_TOES_M) if bends else sd


def _split(name: str) -> tuple[str, str]:
    """Side's prefix and the rest of a name; the prefix is empty on the midline."""
    return (name[:2], name[2:]) if name[:2] in ("l_", "r_") else ("", name)


def _parent(segment: str) -> str:
    side, name = _split(segment)
    if not side:
        return TRUNK[name]
    above = LIMBS[name][0]
    return above if above in TRUNK else side + above


def _segments(body: Body, frames: Mapping[str, FloatArray]) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Axes and origins of the segments that the points show, parents first."""
    centres = body.centres
    rotation = {"pelvis": frames["pelvis"], "thorax": frames["thorax"]}
    for name, axes in rotation.items():
        if not _ever(axes):
            raise InputError(f"the {name} cannot be placed in any frame: its points are never seen together")
    neck = centres["neck"]
    chest = body.origins.get("thorax", neck)
    guess = centres["pelvis"] + LUMBAR_SHARE * (neck - centres["pelvis"])
    lumbar = _common_joint(rotation["pelvis"], rotation["thorax"], centres["pelvis"], chest, guess)
    origin = {"pelvis": centres["pelvis"], "thorax": chest + rotation["thorax"] @ lumbar}
    _add_head(body, frames, rotation, origin)
    for side, sign in (("l_", -1.0), ("r_", 1.0)):
        _add_arm_root(body, side, sign, rotation, origin, chest)
        for segment, (_, joint) in LIMBS.items():
            if joint and joint != "ball" and _ever(frames[side + segment]) and _parent(side + segment) in rotation:
                rotation[side + segment] = frames[side + segment]
                origin[side + segment] = centres[side + joint]
        if f"{side}foot" in rotation and {f"{side}ball", f"{side}toe"} <= set(body.markers):
            ball = centres[f"{side}ball"]
            toes = axes_from(centres[f"{side}toe"] - ball, frames[f"{side}foot"][..., 2], "xz")
            if _ever(toes):
                rotation[f"{side}toes"], origin[f"{side}toes"] = toes, ball
    return rotation, origin


def _add_head(
    body: Body,
    frames: Mapping[str, FloatArray],
    rotation: dict[str, FloatArray],
    origin: dict[str, FloatArray],
) -> None:
    centres = body.centres
    neck, head = centres["neck"], centres["head"]
    axes = frames["head"]
    if not _ever(axes):  # no point shows the face: it turns with the trunk
        axes = axes_from(head - neck, rotation["thorax"][..., 2], "yz")
    if not _ever(axes):
        return
    base = _common_joint(rotation["thorax"], axes, origin["thorax"], head, neck + NECK_SHARE * (head - neck))
    rotation["head"] = axes
    origin["head"] = head + axes @ base


def _add_arm_root(
    body: Body,
    side: str,
    sign: float,
    rotation: dict[str, FloatArray],
    origin: dict[str, FloatArray],
    chest: FloatArray,
) -> None:
    """The clavicle, from beside the middle of the chest to the shoulder."""
    shoulder = body.centres[f"{side}shoulder"]
    root = chest + sign * STERNOCLAVICULAR_M * rotation["thorax"][..., 2]
    rotation[f"{side}clavicle"] = axes_from(sign * (shoulder - root), rotation["thorax"][..., 1], "zy")
    origin[f"{side}clavicle"] = root


def _common_joint(
    upper: FloatArray, lower: FloatArray, upper_at: FloatArray, lower_at: FloatArray, guess: FloatArray
) -> FloatArray:
    """Place in the lower segment, from `lower_at`, of the point that both segments keep best, shape (3,). [m]

    The least-squares point fixed in both (Ehrig RM et al. 2006, J Biomech 39:2798-2809), held near a guess, as the
    spine's motion in one swing shows it only in part.
    """
    ok = np.isfinite(upper + lower).all(axis=(1, 2)) & np.isfinite(upper_at + lower_at + guess).all(axis=1)
    if not ok.any():
        raise InputError("pelvis and trunk are never seen together; without both no body can be built")
    upper, lower, upper_at, lower_at, guess = (a[ok] for a in (upper, lower, upper_at, lower_at, guess))
    between = (np.swapaxes(upper, 1, 2) @ lower).mean(axis=0)
    normal = np.block([[np.eye(3), -between], [-between.T, np.eye(3)]]) * (POSTURES / JOINT_SD_M**2)
    apart = lower_at - upper_at
    right = np.concatenate([_into(upper, apart).mean(axis=0), -_into(lower, apart).mean(axis=0)])
    expected = np.concatenate([_into(u, guess - at).mean(axis=0) for u, at in ((upper, upper_at), (lower, lower_at))])
    normal += np.eye(6) / SEARCH_SD_M**2
    solved = np.linalg.solve(normal, right * (POSTURES / JOINT_SD_M**2) + expected / SEARCH_SD_M**2)
    return np.asarray(solved[3:], dtype=np.float64)


def _into(rotation: FloatArray, vectors: FloatArray) -> FloatArray:
    """World vectors in a segment's axes."""
    return np.matmul(np.swapaxes(rotation, -1, -2), vectors[..., None])[..., 0]


def _ever(values: FloatArray) -> bool:
    """Whether an array is finite in at least one frame."""
    return bool(np.isfinite(values).reshape(len(values), -1).all(axis=1).any())


def _median_place(rotation: FloatArray, origin: FloatArray, path: FloatArray) -> FloatArray:
    """Median place of a path in a segment's axes, shape (3,). [m]"""
    local: npt.NDArray[np.float64] = _into(rotation, path - origin)
    local = local[np.isfinite(local).all(axis=1)]
    return np.asarray(np.median(local, axis=0)) if len(local) else np.full(3, np.nan)


def _places_of_points(
    body: Body, rotation: Mapping[str, FloatArray], origin: Mapping[str, FloatArray]
) -> dict[str, tuple[str, FloatArray]]:
    """Segment and first place of every point that lies on a segment of the model."""
    places = {}
    for point, segment in body.segment_of.items():
        side, name = _split(point)
        if name == "toe" and f"{side}toes" in rotation:
            segment = f"{side}toes"
        if segment in rotation:
            local = _median_place(rotation[segment], origin[segment], body.markers[point])
            if np.isfinite(local).all():
                places[point] = (segment, local)
    return places


def _places_of_centres(
    body: Body, linkage: Linkage, rotation: Mapping[str, FloatArray], origin: Mapping[str, FloatArray]
) -> dict[str, tuple[str, FloatArray]]:
    """Segment and place of every joint centre: the joint's where a segment hangs on it, else where it was seen."""
    places = {}
    for centre, path in body.centres.items():
        side, name = _split(centre)
        if name not in SEGMENT_OF_CENTRE:
            continue
        above = SEGMENT_OF_CENTRE[name]
        above = above if above in TRUNK else side + above
        while above not in rotation:  # no toes, no hand: the next segment up carries the point
            above = _parent(above)
        below = next((side + segment for segment, (_, joint) in LIMBS.items() if joint == name), "")
        if below in rotation:
            places[centre] = (above, linkage.joint_m[linkage.segments.index(below)])
            continue
        local = _median_place(rotation[above], origin[above], path)
        if np.isfinite(local).all():
            places[centre] = (above, local)
    return places


def _first_pose(linkage: Linkage, rotation: Mapping[str, FloatArray], root: FloatArray) -> Pose:
    """Pose from the axes found frame by frame; where they are missing the joint keeps its nearest known angles."""
    frames = np.arange(len(root))
    turned = np.empty((len(linkage.segments), len(root), 3, 3))
    for index, name in enumerate(linkage.segments):
        own, above = rotation[name], linkage.parent[index]
        known = np.flatnonzero(np.isfinite(own).all(axis=(1, 2)))
        after = np.clip(np.searchsorted(known, frames), 0, len(known) - 1)
        before = np.maximum(after - 1, 0)
        nearest = np.where(frames - known[before] < known[after] - frames, known[before], known[after])
        if above < 0:
            turned[index] = own[nearest]
        elif len(known) == len(frames):
            turned[index] = own
        else:
            relative = np.swapaxes(turned[above][nearest], 1, 2) @ own[nearest]
            turned[index] = turned[above] @ relative
    known = np.flatnonzero(np.isfinite(root).all(axis=1))
    start = np.stack([np.interp(frames, known, root[known, axis]) for axis in range(3)], axis=1)
    return place(linkage, turned, start, np.zeros((*turned.shape[:2], 3)))
