"""Opening files that a person names: only regular files, with an error of one line for any fault.

A pipe or a device could block or never end. So a file is opened without blocking and checked before its first byte is
read. This module also lists all errors of readers of foreign bytes.
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
"""What parsers of foreign bytes raise where they are damaged. TokenError
and SyntaxError come from array headers, which are Python literals; RuntimeError is RecursionError too, ValueError
UnicodeError, ArithmeticError OverflowError, LookupError IndexError and KeyError."""


@contextmanager
def reading(where: Path | str, kind: str = "") -> Iterator[None]:
    """Turn errors inside into one line: raises MoueError, with `where`, for damage and for errors of the system.

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
    """Raises MoueError where a path does not exist or is no regular file: a folder, a pipe, a socket, a device."""
    try:
        _refuse(path.stat().st_mode, path)
    except FileNotFoundError:
        raise MoueError("is not there", path) from None
    except (OSError, ValueError) as error:
        raise cannot("read", path, error) from None


def open_regular(path: Path) -> io.FileIO:
    """Open a file for reading bytes, unbuffered, following links. A pipe or a device is refused without waiting.

    Raises MoueError as `check_regular`.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        handle = os.open(path, flags)
    except FileNotFoundError:
        raise MoueError("is not there", path) from None
    except (OSError, ValueError) as error:
        check_regular(path)  # a folder gets its own message on every system
        raise cannot("read", path, error) from None
    try:
        _refuse(os.fstat(handle).st_mode, path)
        return io.FileIO(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def bytes_of(path: Path, most: int, kind: str) -> bytes:
    """All bytes of a regular file. Raises MoueError as `open_regular`, and for a file larger than `most` bytes.
    """
    with reading(path), open_regular(path) as file:
        if os.fstat(file.fileno()).st_size > most:
            raise MoueError(f"is far too large for {kind}", path)
        return file.read()


def text_of(path: Path, most: int, kind: str) -> str:
    """The text of a regular file in UTF-8, with line feeds as line endings. Raises MoueError as `bytes_of`, and
    UnicodeDecodeError where it is not UTF-8.
    """
    return bytes_of(path, most, kind).decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")


def _refuse(mode: int, path: Path) -> None:
    if stat.S_ISREG(mode):
        return
    if stat.S_ISDIR(mode):
        raise MoueError("is a folder, not a file", path)
    kind = "a pipe" if stat.S_ISFIFO(mode) else "a socket" if stat.S_ISSOCK(mode) else "a device"
    raise MoueError(f"is {kind}, not a file", path, hint="Moue reads files only")
