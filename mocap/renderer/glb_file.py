"""The container of a GLB file: JSON and one buffer (glTF 2.0 specification, sections 3.6 and 4)."""

from __future__ import annotations

import json
import struct
from typing import Any

import numpy as np
import numpy.typing as npt

# Component types and buffer targets of the specification.
BYTE, SHORT, INT, FLOAT = 5121, 5123, 5125, 5126  # of integers the unsigned ones
VERTICES, INDICES = 34962, 34963
_DTYPES = {BYTE: "u1", SHORT: "<u2", INT: "<u4", FLOAT: "<f4"}
_KINDS = {1: "SCALAR", 2: "VEC2", 3: "VEC3", 4: "VEC4", 16: "MAT4"}
_MAGIC, _JSON, _BIN = 0x46546C67, 0x4E4F534A, 0x004E4942


class GlbFile:
    """A file that is being filled.

    Attributes
    ----------
    json : dict
        Its description; lists are filled by the methods.
    """

    def __init__(self) -> None:
        self.json: dict[str, Any] = {
            "asset": {"version": "2.0", "generator": "mocap"},
            "scene": 0,
            "scenes": [{"nodes": []}],
            **{name: [] for name in ("nodes", "meshes", "materials", "skins", "animations")},
            **{name: [] for name in ("textures", "images", "samplers", "accessors", "bufferViews")},
        }
        self._data = bytearray()

    def add(
        self,
        values: npt.NDArray[Any],
        component: int,
        target: int | None = None,
        *,
        bounds: bool = False,
        normalised: bool = False,
    ) -> int:
        """Put an array into the buffer.

        Parameters
        ----------
        values : ndarray, shape (N, K)
            N elements of 1, 2, 3, 4 or 16 components.
        component : int
            `BYTE`, `SHORT`, `INT` or `FLOAT`.
        target : int, optional
            `VERTICES` or `INDICES` where it is one.
        bounds : bool
            Whether to state least and greatest values.
        normalised : bool
            Whether integers stand for 0 to 1.

        Returns
        -------
        int
            Number of its accessor.
        """
        packed = np.ascontiguousarray(values, dtype=_DTYPES[component])
        accessor: dict[str, Any] = {
            "bufferView": self._view(packed.tobytes(), target),
            "componentType": component,
            "count": len(packed),
            "type": _KINDS[packed.shape[1]],
        }
        if bounds:
            accessor |= {"min": packed.min(axis=0).tolist(), "max": packed.max(axis=0).tolist()}
        if normalised:
            accessor["normalized"] = True
        self.json["accessors"].append(accessor)
        return len(self.json["accessors"]) - 1

    def node(self, node: dict[str, Any], *, on_stage: bool = False) -> int:
        """Add a node, `on_stage` to the scene itself; its number."""
        self.json["nodes"].append(node)
        number = len(self.json["nodes"]) - 1
        if on_stage:
            self.json["scenes"][0]["nodes"].append(number)
        return number

    def mesh(self, name: str, attributes: dict[str, int], faces: npt.NDArray[np.integer], material: int) -> int:
        """Add a mesh of triangles, shape (T, 3), over attributes by name; its number."""
        kind = SHORT if faces.max() < 65535 else INT
        indices = self.add(faces.reshape(-1, 1), kind, INDICES)
        triangles = {"attributes": attributes, "indices": indices, "material": material}
        self.json["meshes"].append({"name": name, "primitives": [triangles]})
        return len(self.json["meshes"]) - 1

    def material(self, name: str, opacity: float, texture: bytes | None = None) -> int:
        """Add a matte material whose colours are the vertices', times a PNG that repeats; its number."""
        matte: dict[str, Any] = {
            "baseColorFactor": [1.0, 1.0, 1.0, opacity],
            "metallicFactor": 0.0,
            "roughnessFactor": 1.0,
        }
        if texture is not None:
            self.json["images"].append({"bufferView": self._view(texture, None), "mimeType": "image/png"})
            linear, mipmaps, repeat = 9729, 9987, 10497
            self.json["samplers"].append({"magFilter": linear, "minFilter": mipmaps, "wrapS": repeat, "wrapT": repeat})
            self.json["textures"].append(
                {"source": len(self.json["images"]) - 1, "sampler": len(self.json["samplers"]) - 1}
            )
            matte["baseColorTexture"] = {"index": len(self.json["textures"]) - 1}
        mode = "OPAQUE" if opacity == 1.0 else "BLEND"
        self.json["materials"].append({"name": name, "pbrMetallicRoughness": matte, "alphaMode": mode})
        return len(self.json["materials"]) - 1

    def contents(self) -> bytes:
        """The file's bytes."""
        described = {name: value for name, value in self.json.items() if value != []}
        described["buffers"] = [{"byteLength": len(self._data)}]
        text = json.dumps(described, separators=(",", ":"), allow_nan=False).encode("utf-8")
        text += b" " * (-len(text) % 4)
        data = bytes(self._data)
        length = 12 + 8 + len(text) + 8 + len(data)
        head = struct.pack("<III", _MAGIC, 2, length)
        return head + struct.pack("<II", len(text), _JSON) + text + struct.pack("<II", len(data), _BIN) + data

    def _view(self, data: bytes, target: int | None) -> int:
        """Put bytes into the buffer, at a multiple of four; the number of their view."""
        view: dict[str, Any] = {"buffer": 0, "byteOffset": len(self._data), "byteLength": len(data)}
        if target is not None:
            view["target"] = target
        self._data += data + b"\0" * (-len(data) % 4)
        self.json["bufferViews"].append(view)
        return len(self.json["bufferViews"]) - 1
