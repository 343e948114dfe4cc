"""The container of glTF 2.0: its JSON, its buffers, and the numbers of its accessors, with every bound checked.

Specification: Khronos 2021, "glTF 2.0 Specification", sections 3.6 (buffers, accessors, sparse), 4 (GLB).
"""

from __future__ import annotations

import base64
import binascii
import json
import struct
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.obj_lines import read_raw
from composer.head.reading import DAMAGE
from composer.head.references import referred

COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
JSON_CHUNK, BIN_CHUNK = 0x4E4F534A, 0x004E4942
MOST_ITEMS = {"nodes": 10_000, "meshes": 10_000, "scenes": 10_000}
"""The objects that a file of a head has at most (our choice): thousands of times what a rig has."""
UNDERSTOOD = {"KHR_mesh_quantization", "KHR_texture_transform", "KHR_materials_unlit"}


class GltfFile:
    """One open file: `tree` is its JSON, `accessor(i)` the numbers of an accessor."""

    def __init__(self, path: Path) -> None:
        """Read `path`, .glb or .gltf. Raises MoueError where the container is damaged or not supported."""
        self.path = path
        self._checked: dict[tuple[str, type], list[Any]] = {}
        data = read_raw(path)
        self.tree, self._binary = self._glb(data) if data[:4].tobytes() == b"glTF" else (self._json(data), None)
        version = self._dict(self.tree.get("asset", {})).get("version", "2.0")
        if not str(version).startswith("2."):
            raise self.wrong(f"is glTF version {str(version)[:12]}", "version 2.0 is read")
        needed = [name for name in self.items("extensionsRequired", str) if name not in UNDERSTOOD]
        if needed:
            raise self.wrong(f"needs the extension {needed[0][:40]}, which is not read", "export without compression")
        self._buffers: dict[int, NDArray[np.uint8]] = {}

    def wrong(self, what: str, hint: str | None = None) -> MoueError:
        """A MoueError about this file."""
        return MoueError(what, self.path, hint=hint)

    def _dict(self, value: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise self.wrong("has a value of another type where an object belongs")
        return value

    def items(self, name: str, kind: type = dict, of: dict[str, Any] | None = None) -> list[Any]:
        """The list `name` of the file, or of one of its objects, empty where absent. Raises MoueError where an item is
        not of the type `kind`.
        """
        value = (self.tree if of is None else of).get(name, [])
        if of is None and (name, kind) in self._checked:
            return self._checked[name, kind]
        if not isinstance(value, list) or any(not isinstance(item, kind) or isinstance(item, bool) for item in value):
            raise self.wrong(f"has {name!r} that is not a list of the right type")
        if of is None:
            if len(value) > MOST_ITEMS.get(name, len(value)):
                raise self.wrong(f"has {len(value):,} {name}, more than a head", "is it a whole scene?")
            self._checked[name, kind] = value
        return value

    def item(self, name: str, index: Any) -> dict[str, Any]:
        """One object of a list of the file. Raises MoueError where the list has no such index."""
        items = self.items(name)
        if not isinstance(index, int) or isinstance(index, bool) or not 0 <= index < len(items):
            raise self.wrong(f"uses {name} {str(index)[:12]}, of {len(items)}")
        item: dict[str, Any] = items[index]
        return item

    def number(self, of: dict[str, Any], name: str, default: int = 0) -> int:
        """A whole number >= 0 of an object."""
        value = of.get(name, default)
        if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**53:
            raise self.wrong(f"has {name} {str(value)[:20]!r}, which is not a size")
        return value

    def _json(self, data: NDArray[np.uint8]) -> dict[str, Any]:
        try:
            tree = json.loads(data.tobytes().decode("utf-8-sig").rstrip("\0"))
        except UnicodeDecodeError:
            raise self.wrong("is neither GLB nor text", "is it a glTF file?") from None
        except json.JSONDecodeError as error:
            raise MoueError(f"is not JSON: {error.msg}", self.path, error.lineno) from None
        except DAMAGE:
            raise self.wrong("holds JSON that cannot be read") from None
        return self._dict(tree)

    def _glb(self, data: NDArray[np.uint8]) -> tuple[dict[str, Any], NDArray[np.uint8] | None]:
        if len(data) < 20:
            raise self.wrong("ends inside its header", "the file is cut short")
        _, version, total = struct.unpack("<III", data[:12].tobytes())
        if version != 2:
            raise self.wrong(f"is GLB version {version}", "version 2 is read")
        if total > len(data):
            raise self.wrong(f"has {len(data)} bytes of the {total} in its header", "the file is cut short")
        tree, binary, at = None, None, 12
        while at + 8 <= total:
            length, kind = struct.unpack("<II", data[at : at + 8].tobytes())
            if at + 8 + length > total:
                raise self.wrong(f"has a chunk of {length} bytes that runs past its end", "the file is damaged")
            chunk = data[at + 8 : at + 8 + length]
            if kind == JSON_CHUNK and tree is None:
                tree = self._json(chunk)
            elif kind == BIN_CHUNK and binary is None:
                binary = chunk
            at += 8 + length
        if tree is None:
            raise self.wrong("has no JSON chunk")
        return tree, binary

    def _buffer(self, index: Any) -> NDArray[np.uint8]:
        buffer = self.item("buffers", index)
        if index in self._buffers:
            return self._buffers[index]
        uri, length = buffer.get("uri"), self.number(buffer, "byteLength")
        if uri is None:
            if index or self._binary is None:
                raise self.wrong(f"buffer {index} has no data")
            data = self._binary
        elif isinstance(uri, str) and uri.startswith("data:"):
            try:
                data = np.frombuffer(base64.b64decode(uri.partition(",")[2], validate=True), dtype=np.uint8)
            except (binascii.Error, ValueError):
                raise self.wrong(f"buffer {index} is not base64") from None
        else:
            data = self._beside(uri, index)
        if length > len(data):
            raise self.wrong(f"buffer {index} has {len(data)} bytes of the {length} that it needs")
        self._buffers[index] = data[:length]
        return self._buffers[index]

    def _beside(self, uri: Any, index: int) -> NDArray[np.uint8]:
        """A buffer in a file beside this one, or where `composer.head.references` allows it."""
        name = unquote(uri) if isinstance(uri, str) else ""
        if not name or "://" in name:
            raise self.wrong(f"buffer {index} is not a file beside it: {str(uri)[:60]}")
        return read_raw(referred(name, self.path, f"buffer {index}"))

    def _view(self, index: Any) -> tuple[NDArray[np.uint8], int]:
        view = self.item("bufferViews", index)
        data = self._buffer(view.get("buffer"))
        begin, length = self.number(view, "byteOffset"), self.number(view, "byteLength")
        if begin + length > len(data):
            raise self.wrong(f"buffer view {index} runs past the end of its buffer")
        return data[begin : begin + length], self.number(view, "byteStride")

    def _plain(self, view: Any, offset: int, count: int, kind: np.dtype, width: int) -> NDArray:
        """(count, width) numbers of a view."""
        data, stride = self._view(view)
        row = kind.itemsize * width
        stride = stride or row
        if stride < row or (count and offset + stride * (count - 1) + row > len(data)):
            raise self.wrong(f"an accessor of {count} elements runs past the end of buffer view {view}")
        if not count:
            return np.zeros((0, width), dtype=kind)
        rows = np.lib.stride_tricks.as_strided(data[offset:], (count, row), (stride, 1), writeable=False)
        return np.ascontiguousarray(rows).view(kind).reshape(count, width)

    def count(self, index: Any) -> int:
        """How many elements an accessor has."""
        return self.number(self.item("accessors", index), "count")

    def accessor(self, index: Any, width: int, most: int | None = None) -> NDArray:
        """The (count, width) numbers of an accessor, sparse values put in; float32 where normalised.

        `most` limits the count of an accessor without a buffer. Raises MoueError where the numbers are missing or of
        another type.
        """
        accessor = self.item("accessors", index)
        kind = COMPONENTS.get(accessor.get("componentType", 0))
        if kind is None or WIDTHS.get(str(accessor.get("type"))) != width:
            raise self.wrong(f"accessor {index} has the wrong type for its use")
        count = self.number(accessor, "count")
        if accessor.get("bufferView") is None:
            if count > (most if most is not None else 0):
                raise self.wrong(f"accessor {index} has a count of {count} elements and no data")
            values = np.zeros((count, width), dtype=kind)
        else:
            values = self._plain(
                accessor["bufferView"], self.number(accessor, "byteOffset"), count, np.dtype(kind), width
            )
        if accessor.get("sparse") is not None:
            values = self._substituted(values, self._dict(accessor["sparse"]), index)
        if accessor.get("normalized") and values.dtype.kind in "iu":
            values = np.maximum(values.astype(np.float32) / np.float32(np.iinfo(values.dtype).max), np.float32(-1))
        return values

    def _substituted(self, values: NDArray, sparse: dict[str, Any], index: Any) -> NDArray:
        count = self.number(sparse, "count")
        where, what = self._dict(sparse.get("indices")), self._dict(sparse.get("values"))
        kind = COMPONENTS.get(where.get("componentType", 0), "")
        if kind[1:] not in ("u1", "u2", "u4"):
            raise self.wrong(f"accessor {index} has sparse indices of the wrong type")
        at = self._plain(where.get("bufferView"), self.number(where, "byteOffset"), count, np.dtype(kind), 1)[:, 0]
        new = self._plain(what.get("bufferView"), self.number(what, "byteOffset"), count, values.dtype, values.shape[1])
        if len(at) and (int(at.max()) >= len(values) or (np.diff(at.astype(np.int64)) <= 0).any()):
            raise self.wrong(f"accessor {index} has sparse indices that are not ascending or lie outside")
        values = values.copy()
        values[at] = new
        return values
