"""Opening what a person names: regular files alone, and whatever is wrong with one told in one line.

A pipe or a device would keep Moue waiting, or never end. So a file is opened without waiting and looked at before its
first byte is read. What a reader of foreign bytes may raise is known here, in one place.
"""

from __future__ import annotations

import io
import lzma
import os
import stat
import struct
import tokenize
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from composer.errors import MoueError, cannot

DAMAGE = (
    ArithmeticError, AssertionError, AttributeError, BufferError, EOFError, LookupError, MemoryError, RuntimeError,
    SyntaxError, SystemError, TypeError, ValueError, lzma.LZMAError, struct.error, tokenize.TokenError,
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error,
)  # fmt: skip
"""What a parser of foreign bytes raises where they are damaged: its own errors, and what it stumbles over. TokenError
and SyntaxError come from array headers, which are Python literals; RuntimeError is RecursionError too, ValueError
UnicodeError, ArithmeticError OverflowError, LookupError IndexError and KeyError."""


@contextmanager
def reading(where: Path | str, kind: str = "") -> Iterator[None]:
    """Tell what goes wrong inside as one line: raises MoueError naming `where` for damage and for what the system
    refuses.

    `kind` is what the file should be, as in "is damaged and cannot be read as OBJ". A MoueError passes through.
    """
    try:
        yield
    except MoueError:
        raise
    except MemoryError:
        raise MoueError("needs more memory than there is", where, hint="is the file damaged?") from None
    except OSError as error:
        raise cannot("read", where, error) from None
    except DAMAGE as error:
        what = "is damaged and cannot be read" + (f" as {kind}" if kind else "")
        raise MoueError(f"{what} ({type(error).__name__})", where) from error


def check_regular(path: Path) -> None:
    """Raises MoueError where a path is not there, or is no regular file: a folder, a pipe, a socket, a device."""
    try:
        _refuse(path.stat().st_mode, path)
    except FileNotFoundError:
        raise MoueError("is not there", path) from None
    except (OSError, ValueError) as error:
        raise cannot("read", path, error) from None


def open_regular(path: Path) -> io.FileIO:
    """A file opened to be read as bytes, unbuffered, through links. A pipe or a device is refused and never waited for.

    Raises MoueError as `check_regular`.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        handle = os.open(path, flags)
    except FileNotFoundError:
        raise MoueError("is not there", path) from None
    except (OSError, ValueError) as error:
        check_regular(path)  # a folder is told as one, whatever the system calls it
        raise cannot("read", path, error) from None
    try:
        _refuse(os.fstat(handle).st_mode, path)
        return io.FileIO(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def bytes_of(path: Path, most: int, kind: str) -> bytes:
    """All bytes of a regular file. Raises MoueError as `open_regular`, and "is far too large for KIND" beyond `most`
    bytes.
    """
    with reading(path), open_regular(path) as file:
        if os.fstat(file.fileno()).st_size > most:
            raise MoueError(f"is far too large for {kind}", path)
        return file.read()


def text_of(path: Path, most: int, kind: str) -> str:
    """The text of a regular file in UTF-8, every line ended by a line feed. Raises MoueError as `bytes_of`, and
    UnicodeDecodeError where it is no such text.
    """
    return bytes_of(path, most, kind).decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")


def _refuse(mode: int, path: Path) -> None:
    if stat.S_ISREG(mode):
        return
    if stat.S_ISDIR(mode):
        raise MoueError("is a folder, not a file", path)
    kind = "a pipe" if stat.S_ISFIFO(mode) else "a socket" if stat.S_ISSOCK(mode) else "a device"
    raise MoueError(f"is {kind}, not a file", path, hint="Moue reads files only")
