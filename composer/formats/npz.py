"""NPZ: a head and its shapes as plain arrays, for programs that compute.

Specification: numpy, "numpy.lib.format" (NEP 1), arrays in a zip. Members:

    neutral (n, 3)  deltas (s, n, 3)  names (s,) text  counts (f,)  indices (k,)  unit () text
    and optionally uv (m, 2), uv_indices (k,), colours (n, 3),
    group_names (g,), group_sizes (g,), group_faces; material_names, material_sizes, material_faces;
    between_shape (b,), between_at (b,), between_deltas (b, n, 3)

Kept: everything of a mesh except its objects and material files; neutral in float64, displacements in float32.
Pickled objects are never read, and the sizes in the headers are checked before anything is unpacked.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import IO

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from composer.errors import MoueError, cannot
from composer.formats.arrival import UNSEEN, Arrival
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh
from composer.formats.npy import body_size, read_body, read_header
from composer.geometry.polygons import Polygons
from composer.head.aside import aside
from composer.head.atomic import write_whole
from composer.head.head import InBetween, Shape, TextureCoordinates
from composer.head.reading import open_regular
from composer.plain_number import as_meant
from composer.units import MM_PER_UNIT

LARGEST = 64 * 2**30
"""Most bytes that a file may unpack to (our choice)."""
FREELY = 256 * 2**20
"""Bytes that a file of any size may unpack to (our choice); beyond that, at most RATIO times its own size."""
RATIO = 200
"""Largest ratio of unpacked to packed bytes (our choice): arrays of positions compress far less."""
REQUIRED = ("neutral", "deltas", "names", "counts", "indices")


def read(path: Path, told: Arrival = UNSEEN) -> Mesh:
    """The mesh in an NPZ file, `told` as it is unpacked. Raises MoueError for a file that cannot be used, before
    anything too large is unpacked."""
    path = Path(path)
    with opened(path) as members:
        return members.mesh(told)


@contextmanager
def opened(path: Path, required: Sequence[str] = REQUIRED) -> Iterator[Members]:
    """The arrays of an NPZ file while it is open, the `required` ones among them. Raises MoueError, also in what is
    done meanwhile, for a file that is not complete or cannot be read, and as `Members`."""
    try:
        with io.BufferedReader(open_regular(path)) as file, zipfile.ZipFile(file) as archive:
            yield Members(archive, path, required)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, zlib.error) as error:
        raise MoueError(f"is not a complete NPZ file ({error})", path) from None
    except OSError as error:
        raise cannot("read", path, error) from None


class Members:
    """The arrays of one file, their headers read and checked, each unpacked when it is asked for."""

    def __init__(self, archive: zipfile.ZipFile, path: Path, required: Sequence[str]) -> None:
        """Raises MoueError where one of the `required` arrays is missing, or a header is damaged or far too large."""
        self.archive, self.path = archive, path
        self.headers: dict[str, tuple[tuple[int, ...], np.dtype]] = {}
        unpacked = 0
        for info in archive.infolist():
            name = info.filename.removesuffix(".npy")
            if name in self.headers:
                raise MoueError(f"holds {name!r} twice", path)
            with archive.open(info) as member:
                shape, _, kind = read_header(member, path, repr(name))
                body = body_size(shape, kind)
                if body > info.file_size:
                    raise MoueError(f"{name!r} is smaller than its header says", path, hint="the file is damaged")
            unpacked += max(info.file_size, body)
            self.headers[name] = (shape, kind)
        allowed = max(FREELY, RATIO * path.stat().st_size)
        if unpacked > min(allowed, LARGEST):
            raise MoueError(f"would unpack to {unpacked / 2**30:.1f} GiB, far more than the file", path)
        missing = [name for name in required if name not in self.headers]
        if missing:
            present = ", ".join(list(self.headers)[:4]) or "nothing"
            raise MoueError(f"has no {missing[0]!r}", path, hint=f"it holds {present}")

    def array(self, name: str, kinds: str, shape: tuple[int | None, ...]) -> NDArray:
        """One array; its type (letters of dtype.kind) and its shape (None for any) are checked before it is unpacked.
        """
        self._check(name, kinds, shape)
        with self.archive.open(name + ".npy") as member:
            return read_body(member, *read_header(member, self.path, repr(name)), self.path, repr(name))

    def rows(self, name: str, kinds: str, shape: tuple[int | None, ...]) -> Iterator[NDArray]:
        """The rows of one array along its first axis, each unpacked when it is asked for; checked as `array`."""
        self._check(name, kinds, shape)
        with self.archive.open(name + ".npy") as member:
            (count, *sides), by_columns, kind = read_header(member, self.path, repr(name))
            if by_columns and count > 1:
                yield from self.array(name, kinds, shape)
                return
            for _ in range(count):
                yield read_body(member, tuple(sides), by_columns, kind, self.path, repr(name))

    def _check(self, name: str, kinds: str, shape: tuple[int | None, ...]) -> None:
        has, kind = self.headers[name]
        if len(has) != len(shape) or any(w is not None and w != h for w, h in zip(shape, has, strict=True)):
            wanted = " x ".join("any" if side is None else str(side) for side in shape) or "one value"
            got = " x ".join(map(str, has)) or "one value"
            raise MoueError(f"{name!r} is {got}, not {wanted}", self.path)
        if kind.kind not in kinds:
            raise MoueError(f"{name!r} holds {kind}, which is the wrong type", self.path)

    def names(self, name: str) -> list[str]:
        """A list of texts."""
        return [str(text) for text in self.array(name, "U", (None,))]

    def mesh(self, told: Arrival) -> Mesh:
        """The mesh in the arrays, the neutral first."""
        bare = self._neutral()
        told.neutral(bare)
        names, n = self.names("names"), bare.n_vertices
        between = self._inbetweens(names, n)
        shapes: list[Shape] = []
        for name, delta in zip(names, self.rows("deltas", "fiu", (len(names), n, 3)), strict=True):
            check_positions(delta, self.path, what=f"shape {name!r}, vertex")
            held = aside(delta.astype(np.float32, copy=False))
            shapes.append(Shape(name, held, tuple(between.get(len(shapes), ()))))
            told.shape(shapes[-1])
        return replace(bare, shapes=tuple(shapes))

    def _neutral(self) -> Mesh:
        neutral = self.array("neutral", "fiu", (None, 3)).astype(np.float64)
        check_positions(neutral, self.path)
        n = len(neutral)
        polygons, unit = self.polygons(n), self.unit()
        uv = self._texture(len(polygons.indices)) if "uv" in self.headers else None
        colours = self.array("colours", "f", (n, 3)).astype(np.float64) if "colours" in self.headers else None
        return Mesh(
            polygons, neutral, uv, self._faces("group", polygons.n_faces),
            materials=self._faces("material", polygons.n_faces), colours=colours, unit=unit,
            name=self.path.stem, path=self.path,
        )  # fmt: skip

    def polygons(self, n: int) -> Polygons:
        """The polygons over n vertices."""
        counts, indices = (self._whole(name) for name in ("counts", "indices"))
        try:
            return Polygons(counts, indices, n)
        except MoueError as error:
            raise MoueError(str(error), self.path) from None

    def unit(self) -> str | None:
        """The unit, None where the file does not say."""
        unit = str(self.array("unit", "U", ())) if "unit" in self.headers else None
        if unit is not None and unit not in MM_PER_UNIT:
            hint = f"known are {', '.join(MM_PER_UNIT)}"
            raise MoueError(f"its unit {unit[:20]!r} is not known", self.path, hint=hint)
        return unit

    def _whole(self, name: str) -> NDArray[np.int64]:
        values = self.array(name, "iu", (None,))
        if values.size and not (int(values.min()) >= -(2**31) and int(values.max()) < 2**31):
            raise MoueError(f"{name!r} holds numbers that are too large", self.path)
        return values.astype(np.int64)

    def _texture(self, n_corners: int) -> TextureCoordinates:
        uv = self.array("uv", "f", (None, 2)).astype(np.float64)
        if "uv_indices" not in self.headers:
            raise MoueError("has 'uv' without 'uv_indices'", self.path)
        at = self._whole("uv_indices")
        if len(at) != n_corners or (len(at) and (at.min() < -1 or at.max() >= len(uv))):
            raise MoueError("'uv_indices' does not fit 'uv' and 'indices'", self.path)
        return TextureCoordinates(uv, at.astype(np.int32))

    def _faces(self, kind: str, n_faces: int) -> dict[str, NDArray[np.int32]]:
        if f"{kind}_names" not in self.headers:
            return {}
        names = self.names(f"{kind}_names")
        sizes, faces = self._whole(f"{kind}_sizes"), self._whole(f"{kind}_faces")
        wrong = len(sizes) != len(names) or (sizes < 0).any() or int(sizes.sum()) != len(faces)
        if wrong or (len(faces) and (faces.min() < 0 or faces.max() >= n_faces)):
            raise MoueError(f"'{kind}_faces' does not fit the {kind}s and polygons", self.path)
        pieces = np.split(faces.astype(np.int32), np.cumsum(sizes)[:-1]) if names else []
        return dict(zip(names, pieces, strict=True))

    def _inbetweens(self, names: list[str], n: int) -> dict[int, list[InBetween]]:
        if "between_at" not in self.headers:
            return {}
        at = self.array("between_at", "f", (None,))
        shape = self._whole("between_shape")
        deltas = self.array("between_deltas", "f", (len(at), n, 3)).astype(np.float32, copy=False)
        if len(shape) != len(at) or any(not 0 <= int(s) < len(names) for s in shape) or not np.isfinite(at).all():
            raise MoueError("its in-betweens do not fit its shapes", self.path)
        out: dict[int, list[InBetween]] = {}
        for s, weight, delta in zip(shape, at, deltas, strict=True):
            check_positions(delta, self.path, what=f"in-between of {names[int(s)]!r}, vertex")
            out.setdefault(int(s), []).append(InBetween(as_meant(float(weight)), delta))
        return out


def write(path: Path, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh as NPZ; the same mesh gives the same bytes. Raises MoueError where it cannot be written."""
    n = mesh.n_vertices
    arrays: dict[str, NDArray] = {
        "neutral": mesh.positions,
        "names": np.array([shape.name for shape in mesh.shapes], dtype=np.str_),
        "counts": mesh.polygons.counts,
        "indices": mesh.polygons.indices,
        "unit": np.array(mesh.unit or "mm"),
    }
    if mesh.uv is not None:
        arrays |= {"uv": mesh.uv.uv, "uv_indices": mesh.uv.indices}
    if mesh.colours is not None:
        arrays["colours"] = np.asarray(mesh.colours, dtype=np.float64)
    for kind, held in (("group", mesh.groups), ("material", mesh.materials)):
        if held:
            arrays[f"{kind}_names"] = np.array(list(held), dtype=np.str_)
            arrays[f"{kind}_sizes"] = np.array([len(faces) for faces in held.values()], dtype=np.int64)
            arrays[f"{kind}_faces"] = np.concatenate(list(held.values())).astype(np.int32)
    between = [(i, b) for i, shape in enumerate(mesh.shapes) for b in shape.inbetweens]
    if between:
        arrays["between_shape"] = np.array([i for i, _ in between], dtype=np.int32)
        arrays["between_at"] = np.array([b.at for _, b in between], dtype=np.float64)

    def fill(file: IO[bytes]) -> None:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            for name, array in arrays.items():
                with archive.open(_info(name), "w", force_zip64=True) as member:
                    npy.write_array(member, np.ascontiguousarray(array) if array.ndim else array, allow_pickle=False)
            _stack(archive, "deltas", [shape.delta for shape in mesh.shapes], n)
            if between:
                _stack(archive, "between_deltas", [b.delta for _, b in between], n)

    write_whole(path, fill, sync=False)
    left_out = [what for what, held in (("objects", mesh.objects), ("material files", mesh.material_files)) if held]
    return (f"NPZ leaves out {' and '.join(left_out)}.",) if left_out else ()


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name + ".npy")  # dated 1980, as a zip without a date is
    info.compress_type = zipfile.ZIP_DEFLATED
    return info


def _stack(archive: zipfile.ZipFile, name: str, deltas: list[NDArray[np.float32]], n: int) -> None:
    """Write arrays (n, 3) as one (s, n, 3) member, one after the other, without a copy of all in memory."""
    with archive.open(_info(name), "w", force_zip64=True) as member:
        header = {"descr": "<f4", "fortran_order": False, "shape": (len(deltas), n, 3)}
        npy.write_array_header_1_0(member, header)
        for delta in deltas:
            member.write(np.ascontiguousarray(delta, dtype="<f4").reshape(-1).view(np.uint8))
