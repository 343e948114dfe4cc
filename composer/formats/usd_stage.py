"""An open USD stage and access to its values; every fault in them becomes one line that names its place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pxr import Sdf, Tf, Usd, UsdUtils

from composer.errors import MoueError, shorten
from composer.formats.usd_references import check_references

EARLIEST = Usd.TimeCode.EarliestTime()


@contextmanager
def open_stage(path: Path) -> Iterator[Stage]:
    """The stage at `path`, closed at the end. Raises MoueError as `Stage`, and where reading finds it damaged."""
    stage = Stage(path)
    try:
        yield stage
    except Tf.ErrorException as error:
        raise stage.wrong(f"is damaged ({reason(error)})") from None
    finally:
        stage.close()


class Stage:
    """One open stage. `values` fetches arrays; errors name the prim they are about."""

    def __init__(self, path: Path) -> None:
        """Open `path`. Raises MoueError where it is not USD, or refers to a file that is missing or outside its folder.
        """
        self.path = path
        self._silence = UsdUtils.CoalescingDiagnosticDelegate()  # while it exists, USD prints nothing
        try:
            check_references(path)
            self.stage = Usd.Stage.Open(str(path))
            broken = self.stage.GetCompositionErrors()
        except Tf.ErrorException as error:
            place = re.search(r":([0-9]+):[0-9]+: ([^(']*)", str(error))  # a text says where it is wrong
            why = place[2].strip().rstrip(".") if place else reason(error)
            line = int(place[1]) if place else None
            self.close()
            raise MoueError(f"is not a complete USD file ({shorten(why, 80)})", path, line) from None
        except MoueError:
            self.close()
            raise
        if broken:
            self.close()
            raise self._composition(broken[0])

    def close(self) -> None:
        """Drop USD's messages, and let it print again."""
        self._silence.TakeUncoalescedDiagnostics()
        self._silence.TakeCoalescedDiagnostics()
        del self._silence

    def wrong(self, what: str, prim: Usd.Prim | None = None, hint: str | None = None) -> MoueError:
        """A MoueError about this file, or about a prim in it."""
        about = f"{shorten(str(prim.GetPath()), 60)} " if prim is not None else ""
        return MoueError(about + what, self.path, hint=hint)

    def _composition(self, error: Any) -> MoueError:
        words = " ".join(str(error).split())
        asset = re.search("asset @([^@]*)@", words)
        if asset:
            return self.wrong(f"refers to {shorten(asset[1], 60)}, which cannot be opened", hint="put that file there")
        if words.startswith("Cycle"):
            return self.wrong("refers to itself", hint="export it in one file")
        return self.wrong(f"does not fit together ({shorten(words, 100)})")

    def values(self, attribute: Any, width: int | None, kinds: str = "f") -> NDArray | None:
        """The array of an attribute, (k,) or with `width` (k, width), None where it has none.

        `kinds` are the accepted letters of dtype.kind. Raises MoueError for values of another type.
        """
        if not attribute or not attribute.HasAuthoredValue():
            return None
        try:
            held = attribute.Get(EARLIEST)
        except Tf.ErrorException as error:
            raise self.wrong(f"has values that cannot be read ({reason(error)})", attribute.GetPrim()) from None
        if held is None:
            return None
        array = np.array(held)
        if not array.size:
            return np.zeros((0, width) if width else 0, dtype=np.float64 if "f" in kinds else np.int64)
        fits = array.ndim == 1 if width is None else array.ndim == 2 and array.shape[1] == width
        if array.dtype.kind not in kinds or not fits:
            what = f"has {attribute.GetName()[:40]} of the wrong type {attribute.GetTypeName()}"
            raise self.wrong(what, attribute.GetPrim())
        return array.astype(np.float64 if array.dtype.kind == "f" else np.int64)

    def prim(self, path: Sdf.Path, kind: Any, owner: Usd.Prim, what: str) -> Any:
        """The prim at `path`, which `owner` names, as the schema `kind`. Raises MoueError where it is another."""
        prim = kind(self.stage.GetPrimAtPath(path))
        if not prim:
            raise self.wrong(f"names {shorten(str(path), 50)}, which is not a {what}", owner)
        return prim


def reason(error: Exception) -> str:
    """USD's message without the place in USD's own source."""
    messages = re.findall(r": '(.*?)'", str(error))
    return shorten(messages[0], 80) if messages else "it cannot be read"
