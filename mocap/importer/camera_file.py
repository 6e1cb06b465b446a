"""Camera files: one camera per TOML file, or one section per camera as open multi-camera tools write them.

Our own form, one camera:

    name = "open side"                # optional; else the file's name
    size = [1280, 720]                # width and height, px
    matrix = [[1400.0, 0.0, 639.5], [0.0, 1400.0, 359.5], [0.0, 0.0, 1.0]]      # px
    distortion = [-0.1, 0.02, 0.0, 0.0, 0.0]     # k1, k2, p1, p2[, k3]; optional, else a perfect lens
    rotation = [[...], [...], [...]]  # camera axes from world axes; a Rodrigues vector (three numbers) is read too
    translation = [0.0, 1.2, 6.0]     # the world's origin in camera axes, m
    rate_hz = 120.0                   # optional
    time_offset_s = 0.0125            # optional: time of the first picture on the common clock
    covariance = [[...], ...]         # optional, 9 x 9, of the calibration: see `Camera.covariance`

The sectioned form has the same keys in a table per camera, but `distortions` (four or five numbers), `rotation` as a
Rodrigues vector and `name` optional; tables without a `matrix` (notes on the calibration) and keys of other tools are
passed over. Lengths are taken as metres.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError, OptionError
from mocap.importer.camera import Camera
from mocap.output import replacing

NEEDED = ("size", "matrix", "rotation", "translation")
KNOWN = {*NEEDED, "name", "distortion", "distortions", "rate_hz", "time_offset_s", "covariance"}


def read_camera(path: str | Path) -> Camera:
    """Read a file that holds one camera.

    Raises
    ------
    InputError
        As `read_cameras`, or it holds several.
    """
    cameras = read_cameras(path)
    if len(cameras) > 1:
        names = ", ".join(camera.name for camera in cameras)
        raise InputError(f"{path}: holds {len(cameras)} cameras ({names}); give a file with one, or read them all")
    return cameras[0]


def read_cameras(path: str | Path) -> tuple[Camera, ...]:
    """Read every camera of a file, in either form.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    tuple of Camera
        In the file's order.

    Raises
    ------
    InputError
        No such file, no TOML, no camera in it, a key missing, unknown or of the wrong kind, a lens model other than
        the one of `mocap.importer.camera`; the message names file, section and key.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: no such camera file")
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: not a TOML file ({error})") from error
    sections = {name: part for name, part in table.items() if isinstance(part, dict) and "matrix" in part}
    if sections:
        return tuple(_camera(part, f"{path}: [{name}]", name) for name, part in sections.items())
    if not set(table) & set(NEEDED):
        raise InputError(
            f"{path}: holds no camera; give matrix, rotation, translation and size, or one table per camera"
        )
    unknown = sorted(set(table) - KNOWN)
    if unknown:
        raise InputError(f"{path}: {unknown[0]!r} is not known; known are {', '.join(sorted(KNOWN))}")
    return (_camera(table, f"{path}:", path.stem),)


def write_camera(camera: Camera, path: str | Path) -> Path:
    """Write one camera; what is read back is the same to the last digit.

    Parameters
    ----------
    camera : Camera
    path : str or Path
        TOML file; an older one is replaced.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    lines = [f"name = {_quoted(camera.name)}"] if camera.name else []
    lines += [
        f"size = [{camera.size[0]}, {camera.size[1]}]  # width and height, px",
        f"matrix = {_rows(camera.matrix)}  # px",
        f"distortion = {_row(camera.distortion)}  # k1, k2, p1, p2, k3",
        f"rotation = {_rows(camera.rotation)}  # camera axes from world axes",
        f"translation = {_row(camera.translation)}  # the world's origin in camera axes, m",
    ]
    if camera.rate_hz is not None:
        lines.append(f"rate_hz = {float(camera.rate_hz)!r}")
    lines.append(f"time_offset_s = {float(camera.time_offset_s)!r}  # time of the first picture on the common clock")
    if camera.covariance.any():
        lines.append(f"covariance = {_rows(camera.covariance)}  # of the calibration: turn, place, log focal, centre")
    with replacing(target := Path(path)) as temporary:
        temporary.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return target


def _camera(table: Mapping[str, Any], where: str, name: str) -> Camera:
    """One camera from its table; `where` begins every message."""
    for key in NEEDED:
        if key not in table:
            raise InputError(f"{where} {key} is missing")
    if table.get("fisheye"):
        raise InputError(f"{where} fisheye is true; calibrate with radial and tangential distortion instead")
    if "distortion" in table and "distortions" in table:
        raise InputError(f"{where} distortion and distortions are both given; keep one")
    bends_key = "distortions" if "distortions" in table else "distortion"
    bends = _array(table.get(bends_key, [0.0] * 5), bends_key, where)
    if bends.ndim != 1 or len(bends) not in (4, 5):
        raise InputError(f"{where} {bends_key} must be 4 or 5 numbers (k1, k2, p1, p2[, k3]), got {bends.size}")
    size = _array(table["size"], "size", where)
    if size.shape != (2,):
        raise InputError(f"{where} size must be width and height, e.g. [1280, 720]")
    try:
        return Camera(
            matrix=_array(table["matrix"], "matrix", where),
            rotation=_turn(_array(table["rotation"], "rotation", where)),
            translation=_array(table["translation"], "translation", where),
            size=(size[0], size[1]),
            distortion=bends,
            rate_hz=_number(table["rate_hz"], "rate_hz", where) if "rate_hz" in table else None,
            time_offset_s=_number(table.get("time_offset_s", 0.0), "time_offset_s", where),
            name=str(table.get("name", name)),
            **({"covariance": _array(table["covariance"], "covariance", where)} if "covariance" in table else {}),
        )
    except OptionError as error:
        raise InputError(f"{where} {error}") from error


def _turn(values: FloatArray) -> FloatArray:
    """Rotation matrix from itself or from a Rodrigues vector."""
    if values.shape != (3,) or not np.isfinite(values).all():
        return values
    from scipy.spatial.transform import Rotation

    return Rotation.from_rotvec(values).as_matrix()


def _array(value: Any, key: str, where: str) -> FloatArray:
    try:
        # TOML's strings and truth values would pass as numbers.
        if not all(type(item) in (int, float) for item in _flat(value)):
            raise TypeError
        return np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(f"{where} {key} must be numbers in brackets") from None


def _flat(value: Any) -> list[Any]:
    if not isinstance(value, list):
        return [value]
    return [item for part in value for item in _flat(part)]


def _number(value: Any, key: str, where: str) -> float:
    if type(value) not in (int, float):
        raise InputError(f"{where} {key} must be a number, got {value!r}")
    return float(value)


def _row(values: FloatArray) -> str:
    return "[" + ", ".join(repr(float(value)) for value in values) + "]"


def _rows(values: FloatArray) -> str:
    return "[" + ", ".join(_row(row) for row in values) + "]"


def _quoted(text: str) -> str:
    """A basic TOML string; control characters as escapes."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'
