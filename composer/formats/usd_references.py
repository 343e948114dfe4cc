"""The files that a USD stage refers to, checked before USD opens them: sublayers, references, payloads, value clips.

Sources: OpenUSD (openusd.org/release/api), "SdfLayer" (GetCompositionAssetDependencies: every sublayer, reference and
payload, in variants too), "UsdClipsAPI" (clips), "Ar" (a file in a package is `outer.usdz[inner]`).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pxr import Ar, Sdf, Tf

from composer.errors import MoueError, shorten
from composer.head.reading import check_regular
from composer.head.references import HINT, check_inside, may_refer_outside


def check_references(path: Path) -> None:
    """Raises MoueError where the stage at `path`, or a layer that it uses, refers to a file outside its folder or to
    one that is not a regular file. That file is not opened. Missing files are reported by USD itself.
    """
    waiting, seen = [str(path)], set[str]()
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        try:
            layer = Sdf.Layer.FindOrOpen(name)
        except Tf.ErrorException:  # USD reports it when the stage is opened
            continue
        for asset in _assets(layer) if layer else ():
            place = _place(layer, asset, path)
            if place is not None:
                waiting.append(place)


def _place(layer: Sdf.Layer, asset: str, path: Path) -> str | None:
    """The place of an asset; None where there is no file, or it is a pattern of names."""
    if asset.startswith("`"):  # an expression that USD evaluates: it may give any path
        if not may_refer_outside(path):
            raise MoueError(f"refers to a computed place: {shorten(asset, 60)}", path, hint=HINT)
        return None
    place = layer.ComputeAbsolutePath(asset)
    resolved = str(Ar.GetResolver().Resolve(place)) or place
    outer = Path(Ar.SplitPackageRelativePathOuter(resolved)[0] if Ar.IsPackageRelativePath(resolved) else resolved)
    if not outer.is_absolute():  # searched for, and not found
        return None
    check_inside(outer, path, "what it refers to")
    if not outer.exists():
        return None
    check_regular(outer)
    return place


def _assets(layer: Sdf.Layer) -> Iterator[str]:
    """Every file that a layer refers to, as written in it; patterns of names as patterns."""
    yield from sorted(asset for asset in layer.GetCompositionAssetDependencies() if asset)
    clips: list[str] = []

    def look(place: Sdf.Path) -> None:
        spec = layer.GetPrimAtPath(place) if place.IsPrimPath() or place.IsPrimVariantSelectionPath() else None
        if spec is not None and spec.HasInfo("clips"):
            clips.extend(_clip_assets(spec.GetInfo("clips")))

    layer.Traverse(Sdf.Path.absoluteRootPath, look)
    yield from clips


def _clip_assets(value: object) -> Iterator[str]:
    """The paths in the clips of a prim: asset paths, lists of them, and templates, which are text."""
    if isinstance(value, Sdf.AssetPath):
        yield value.path
    elif isinstance(value, dict):
        for key, inner in value.items():
            if key == "templateAssetPath" and isinstance(inner, str):
                yield inner
            else:
                yield from _clip_assets(inner)
    elif isinstance(value, Sdf.AssetPathArray):
        for one in value:
            yield one.path
