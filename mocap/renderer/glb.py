"""Both bodies as an animated 3-D scene in one file: glTF 2.0, binary, for any viewer of that open standard.

Written after the Khronos glTF 2.0 specification: https://registry.khronos.org/glTF/specs/2.0/glTF-2.0.html. The rest
figures are skinned meshes, each bone a node with translation, rotation and scale at every frame. A bone carries its
vertices by ``v -> anchor + Q stretch (v - rest_anchor)``; with the stretch's axis as the third column of a rotation `A`
that is ``T (Q A) diag(1, 1, s) A' (v - rest_anchor)``, so nodes hold it exactly. At most eight bones move a vertex.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray
from mocap.comparison import Comparison
from mocap.display import Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.output import replacing
from mocap.renderer import style
from mocap.renderer.bones import move_bones
from mocap.renderer.field import batters_box, plate_mesh
from mocap.renderer.figure import TONES, Figure
from mocap.renderer.glb_file import BYTE, FLOAT, SHORT, VERTICES, GlbFile
from mocap.renderer.rig import BONES
from mocap.renderer.scene import Scene
from mocap.renderer.stripes import one_stripe

INFLUENCES = 8  # bones that move a vertex, in two sets of four
FLOOR_HALF_M = (2.0, 1.5)  # half of the floor, toward the pitcher and across
LINE_RISE_M = 0.002  # of the chalk over the floor, so that neither shines through the other
STRIPE_TEXELS = 32
#: glTF's axes from the hitting frame's: x stays toward the pitcher, y is up.
GLTF_FROM_HITTING = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
UNMIRRORED = np.diag([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class BoneTracks:
    """Every bone of a figure as a node over time.

    Attributes
    ----------
    translation, scale : ndarray, shape (F, B, 3)
        [m], [-]
    rotation : ndarray, shape (F, B, 4)
        Unit quaternions x, y, z, w.
    inverse_bind : ndarray, shape (B, 4, 4)
        From the rest mesh into each bone's axes.
    """

    translation: FloatArray
    rotation: FloatArray
    scale: FloatArray
    inverse_bind: FloatArray


def draw_glb(comparison: Comparison, findings: Findings, path: str | Path, *, units: Units = "metric") -> Path:
    """Write a swing as an animated 3-D scene, the hitter solid and his reference translucent.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        GLB file to write; an older one is replaced.
    units : {"metric", "imperial"}
        Of the scene; the file itself is in metres, as its format demands.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    return write_glb(Scene(comparison, findings, units), path)


def write_glb(scene: Scene, path: str | Path, frames: Sequence[int] | None = None) -> Path:
    """Write a scene's bodies, plate and box as a GLB file with one animation, "swing".

    Parameters
    ----------
    scene : Scene
    path : str or Path
        An older file is replaced.
    frames : sequence of int, optional
        Which frames, rising; all where not given. The animation's clock starts at the first.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        The frames do not rise, or lie outside the recording.
    OutputError
        The file cannot be written.

    Notes
    -----
    A limb that is not seen for a while holds its last pose; one that is never seen has no size. Soles that would lie in
    the floor are hidden by it, where pictures flatten them.
    """
    chosen = np.arange(scene.swing.n_frames) if frames is None else np.asarray(frames, dtype=int)
    if not len(chosen) or (np.diff(chosen) <= 0).any() or chosen[0] < 0 or chosen[-1] >= scene.swing.n_frames:
        raise OptionError(f"frames of a 3-D scene must rise and lie within 0 to {scene.swing.n_frames - 1}")
    content = _contents(scene, chosen)
    with replacing(target := Path(path)) as temporary:
        temporary.write_bytes(content)
    return target


def shown_axes(scene: Scene) -> FloatArray:
    """Axes of the file from those of the hitting frame, shape (3, 3); a left-handed hitter is mirrored back."""
    return GLTF_FROM_HITTING @ UNMIRRORED if scene.swing.mirrored else GLTF_FROM_HITTING


def bone_tracks(figure: Figure, points: FloatArray, head_forward: FloatArray | None, axes: FloatArray) -> BoneTracks:
    """Nodes that carry a figure's rest mesh through frames.

    Parameters
    ----------
    figure : Figure
    points : ndarray, shape (F, P, 3)
        In the order of `mocap.swing.POINTS`. [m]
    head_forward : ndarray, shape (F, 3), or None
        See `Figure.pose`.
    axes : ndarray, shape (3, 3)
        Orthogonal; the file's axes from the hitting frame's, a mirror image if it is one.

    Returns
    -------
    BoneTracks
        Without NaN.
    """
    from scipy.spatial.transform import Rotation

    motion = move_bones(np.asarray(points, dtype=np.float64), head_forward, figure.size)
    linear = axes @ motion.matrix[..., :3] @ axes.T
    anchor, along = motion.anchor @ axes.T, motion.axis @ axes.T
    own = _axes_with_third(along)
    carried = linear @ own  # (Q A) diag(1, 1, s)
    scale = np.linalg.norm(carried, axis=-2)
    shift = motion.matrix[..., 3] @ axes.T
    translation = np.einsum("fbij,bj->fbi", linear, anchor) + shift
    seen = np.isfinite(carried).all(axis=(-1, -2)) & np.isfinite(translation).all(axis=-1)
    rows, bones = _last_seen(seen), np.arange(len(BONES))
    never = ~seen.any(axis=0)
    turn = np.where(never[:, None, None], np.eye(3), (carried / scale[..., None, :])[rows, bones])
    rotation = Rotation.from_matrix(turn.reshape(-1, 3, 3)).as_quat().reshape(*turn.shape[:2], 4)
    inverse = np.tile(np.eye(4), (len(BONES), 1, 1))
    inverse[:, :3, :3] = np.swapaxes(own, -1, -2)
    inverse[:, :3, 3] = -np.einsum("bji,bj->bi", own, anchor)
    return BoneTracks(
        np.where(never[:, None], 0.0, translation[rows, bones]),
        _without_jumps(rotation),
        np.where(never[:, None], 0.0, scale[rows, bones]),
        inverse,
    )


def influences(weights: FloatArray) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.float32]]:
    """The bones that move each vertex most and their shares, which sum to 1; both of shape (V, 8).

    Parameters
    ----------
    weights : ndarray, shape (V, B)
    """
    bones = np.argsort(-weights, axis=1, kind="stable")[:, :INFLUENCES]
    shares = np.take_along_axis(weights, bones, axis=1)
    shares = shares / shares.sum(axis=1, keepdims=True)
    return np.where(shares > 0.0, bones, 0).astype(np.uint8), shares.astype(np.float32)


def _axes_with_third(third: FloatArray) -> FloatArray:
    """Rotations whose third column is given, shape (B, 3, 3)."""
    helper = np.eye(3)[np.argmin(np.abs(third), axis=-1)]
    first = np.cross(helper, third)
    first /= np.linalg.norm(first, axis=-1, keepdims=True)
    return np.stack([first, np.cross(third, first), third], axis=-1)


def _last_seen(seen: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    """For each frame and bone, the last frame in which it was seen, or the first; shape (F, B)."""
    at = np.where(seen, np.arange(len(seen))[:, None], -1)
    last = np.maximum.accumulate(at, axis=0)
    return np.asarray(np.where(last < 0, np.argmax(seen, axis=0), last), dtype=np.intp)


def _without_jumps(rotation: FloatArray) -> FloatArray:
    """The same rotations, each quaternion in the half sphere of the one before, so that viewers turn the short way."""
    flips = np.sum(rotation[1:] * rotation[:-1], axis=-1) < 0.0
    sign = np.where(np.cumsum(flips, axis=0) % 2 == 1, -1.0, 1.0)
    return np.concatenate([rotation[:1], rotation[1:] * sign[..., None]])


def _contents(scene: Scene, frames: npt.NDArray[np.intp]) -> bytes:
    """The whole file."""
    file, axes = GlbFile(), shown_axes(scene)
    swing = scene.swing
    times = file.add(((frames - frames[0]) / swing.rate_hz).astype(np.float32)[:, None], FLOAT, bounds=True)
    animation: dict[str, Any] = {"name": "swing", "channels": [], "samplers": []}
    _add_ground(file, scene.plate_offset, axes)
    solid = file.material("hitter", 1.0, texture=_stripe_picture())
    ghost = file.material("reference", style.GHOST_OPACITY)
    bodies = (
        ("hitter", scene.hitter, swing.points, swing.head_forward[frames], solid, style.HITTER_TONES),
        ("reference", scene.reference, scene.comparison.reference_points, None, ghost, style.REFERENCE_TONES),
    )
    for name, figure, points, facing, material, tones in bodies:
        mesh = _add_mesh(file, name, figure, axes, material, tones)
        tracks = bone_tracks(figure, points[frames], facing, axes)
        joints = _add_bones(file, name, tracks)
        bind = file.add(np.swapaxes(tracks.inverse_bind, -1, -2).reshape(-1, 16).astype(np.float32), FLOAT)
        file.json["skins"].append({"name": name, "inverseBindMatrices": bind, "joints": joints})
        file.node({"name": name, "mesh": mesh, "skin": len(file.json["skins"]) - 1}, on_stage=True)
        _add_tracks(file, animation, times, joints, tracks)
    file.json["animations"].append(animation)
    return file.contents()


def _add_mesh(
    file: GlbFile, name: str, figure: Figure, axes: FloatArray, material: int, tones: dict[str, style.Colour]
) -> int:
    places = (figure.rest @ axes.T)[figure.welded]
    faces = figure.faces if np.linalg.det(axes) > 0.0 else figure.faces[:, ::-1]
    joints, weights = influences(figure.weights)
    joints, weights = joints[figure.welded], weights[figure.welded]
    palette = _linear(np.array([tones[tone] for tone in TONES]))
    attributes = {
        "POSITION": file.add(places.astype(np.float32), FLOAT, VERTICES, bounds=True),
        "NORMAL": file.add(_normals(figure.rest @ axes.T, figure.welded[faces])[figure.welded], FLOAT, VERTICES),
        "COLOR_0": file.add(palette[figure.tones], SHORT, VERTICES, normalised=True),
        "JOINTS_0": file.add(joints[:, :4], BYTE, VERTICES),
        "JOINTS_1": file.add(joints[:, 4:], BYTE, VERTICES),
        "WEIGHTS_0": file.add(weights[:, :4], FLOAT, VERTICES),
        "WEIGHTS_1": file.add(weights[:, 4:], FLOAT, VERTICES),
    }
    if "baseColorTexture" in file.json["materials"][material]["pbrMetallicRoughness"]:
        turns = np.column_stack([figure.stripes, np.full(len(figure.stripes), 0.5)]).astype(np.float32)
        attributes["TEXCOORD_0"] = file.add(turns, FLOAT, VERTICES)
    return file.mesh(name, attributes, faces, material)


def _add_bones(file: GlbFile, name: str, tracks: BoneTracks) -> list[int]:
    """A node for each bone, in the pose of the first frame, under one node; their numbers."""
    joints = [
        file.node(
            {
                "name": f"{name} {bone}",
                "translation": tracks.translation[0, i].tolist(),
                "rotation": tracks.rotation[0, i].tolist(),
                "scale": tracks.scale[0, i].tolist(),
            }
        )
        for i, bone in enumerate(BONES)
    ]
    file.node({"name": f"{name} bones", "children": joints}, on_stage=True)
    return joints


def _add_tracks(file: GlbFile, animation: dict[str, Any], times: int, joints: list[int], tracks: BoneTracks) -> None:
    """A channel for each bone's place, turn and size, as far as they change."""
    for path, values in (
        ("translation", tracks.translation),
        ("rotation", tracks.rotation),
        ("scale", tracks.scale),
    ):
        for i, joint in enumerate(joints):
            track = values[:, i].astype(np.float32)
            if np.ptp(track, axis=0).max() < 1e-7:
                continue
            animation["channels"].append(
                {"sampler": len(animation["samplers"]), "target": {"node": joint, "path": path}}
            )
            animation["samplers"].append({"input": times, "output": file.add(track, FLOAT)})


def _add_ground(file: GlbFile, offset: FloatArray, axes: FloatArray) -> None:
    """Floor, home plate and the batter's box of a right-handed hitter, in their own colours."""
    half = np.array([*FLOOR_HALF_M])
    floor = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    chalk = np.vstack(batters_box(1))
    plate = plate_mesh()
    middle = np.array([*chalk.mean(axis=0), 0.0]) + offset
    quad = np.array([[0, 1, 2], [0, 2, 3]])
    lines = np.column_stack([chalk, np.full(len(chalk), LINE_RISE_M)]) + offset
    pieces = (
        ("floor", np.column_stack([floor, np.zeros(4)]) + middle, quad, style.FLOOR),
        ("box", lines, np.vstack([quad + 4 * k for k in range(len(chalk) // 4)]), style.CHALK),
        ("plate", np.asarray(plate.vertices) + offset, np.asarray(plate.faces), style.CHALK),
    )
    material = file.material("ground", 1.0)
    for name, places, faces, colour in pieces:
        corners = faces.ravel()  # every face has corners of its own, so that edges stay crisp
        own = np.arange(len(corners)).reshape(-1, 3)
        shown = (places @ axes.T)[corners]
        own = own if np.linalg.det(axes) > 0.0 else own[:, ::-1]
        attributes = {
            "POSITION": file.add(shown.astype(np.float32), FLOAT, VERTICES, bounds=True),
            "NORMAL": file.add(_normals(shown, own), FLOAT, VERTICES),
            "COLOR_0": file.add(
                np.repeat(_linear(np.array([colour])), len(corners), 0), SHORT, VERTICES, normalised=True
            ),
        }
        file.node({"name": name, "mesh": file.mesh(name, attributes, own, material)}, on_stage=True)


def _normals(places: FloatArray, faces: npt.NDArray[np.integer]) -> npt.NDArray[np.float32]:
    """Unit normals of the vertices, the mean of their faces' weighted by area, shape (V, 3)."""
    a, b, c = (places[faces[:, k]] for k in range(3))
    flat = np.cross(b - a, c - a)
    normals = np.zeros_like(places)
    for k in range(3):
        np.add.at(normals, faces[:, k], flat)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    unset = length[:, 0] == 0.0
    normals[unset], length[unset] = (0.0, 1.0, 0.0), 1.0
    return (normals / length).astype(np.float32)


def _linear(colours: npt.NDArray[np.integer]) -> npt.NDArray[np.uint16]:
    """Colours of vertices, which glTF wants linear in light: sRGB's transfer function (IEC 61966-2-1); shape (N, 4)."""
    share = np.asarray(colours, dtype=np.float64) / 255.0
    light = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.rint(65535.0 * np.column_stack([light, np.ones(len(light))])).astype(np.uint16)


def _stripe_picture() -> bytes:
    """One period of the back side's stripes as a PNG: a thin dark line in the middle of plain ground."""
    from PIL import Image as images

    level = one_stripe(STRIPE_TEXELS)
    stream = BytesIO()
    images.fromarray(np.repeat(level[None, :, None], 3, axis=2)).save(stream, "PNG")
    return stream.getvalue()
