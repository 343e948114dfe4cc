"""What files hold, as one number: two runs that begin with the same contents give the same results.

SHA-256 (FIPS 180-4, 2015) over the names and contents of files. Dates decide nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from composer.errors import cannot
from composer.head.file_hash import file_hash
from composer.head.toml_text import parse_toml, texts_in


def content(path: Path) -> str:
    """The hash of a file, or of a folder with all that is in it; hidden files do not count. Raises MoueError where it
    cannot be read."""
    try:
        if not path.is_dir():
            return file_hash(path)
        whole = hashlib.sha256()
        for file in files_in(path):
            whole.update(f"{file.relative_to(path).as_posix()}\0{file_hash(file)}\n".encode("utf-8", "surrogateescape"))
        return whole.hexdigest()
    except OSError as error:
        raise cannot("read", path, error) from None


def document_content(path: Path, head: Path, text: str) -> str:
    """The hash of a document: its file, its head, and every file or folder that its `text` names beside either.

    Raises MoueError where one cannot be read.
    """
    whole = hashlib.sha256(content(path).encode())
    for place in documents_files(path, head, text):
        whole.update(f"{os.path.relpath(place, path.parent)}\0{content(place)}\n".encode("utf-8", "surrogateescape"))
    return whole.hexdigest()


def joined(parts: Mapping[str, Any]) -> str:
    """The hash of values by name: texts, numbers, lists of them."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=list).encode()).hexdigest()


def written(folder: Path, places: Iterator[Path] | tuple[Path, ...]) -> dict[str, str]:
    """By its name from `folder`, the hash of every file at `places` or in them."""
    try:
        files = [file for place in places for file in ([place] if place.is_file() else files_in(place))]
        return {file.relative_to(folder).as_posix(): file_hash(file) for file in files}
    except OSError as error:
        raise cannot("read", folder, error) from None


def documents_files(path: Path, head: Path, text: str) -> list[Path]:
    """The head of a document, and what the values of its `text` name in its own folder or its head's, sorted."""
    folders = (path.parent, head if head.is_dir() else head.parent)
    found = {head}
    for value in texts_in(parse_toml(text)):
        if len(value) < 1000 and "\0" not in value and value.strip("./\\"):
            found.update(place for folder in folders if (place := folder / value).exists())
    return sorted(place for place in found if place != path)


def files_in(folder: Path) -> list[Path]:
    """The files in a folder and its folders, sorted; hidden ones do not count."""
    files = (each for each in folder.rglob("*") if each.is_file())
    return sorted(each for each in files if not any(part.startswith(".") for part in each.relative_to(folder).parts))
