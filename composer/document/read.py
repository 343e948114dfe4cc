"""Reading the text of a document into a project. The README describes the layout in the section "A document"."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from composer.document.clip_table import clips_of
from composer.document.join_keys import join_of
from composer.document.kept_view import views_of
from composer.document.part_table import KEYS as PART_KEYS
from composer.document.project import RESERVED, VERSION, EarlierFile, Project, Region
from composer.document.reference_picture import references_of
from composer.document.values import Values
from composer.errors import MoueError
from composer.head.axes import FileAxes
from composer.head.file_names import check_name
from composer.head.places import Place, SurfacePoint
from composer.head.reading import DAMAGE, bytes_of
from composer.head.references import check_head_place
from composer.head.toml_text import parse_toml
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import HALO, WEIGHT_RANGE, Cell, Recipe, Row
from masks.hues import HUES

TOP = (
    "moue",
    "unit",
    "head",
    "neutral",
    "up",
    "ahead",
    "topology",
    "parts",
    "shapes",
    "levels",
    "earlier",
    "landmarks",
    "curves",
    "regions",
    "recipes",
    "clips",
    "correctives",
    "views",
    "references",
)
SIGNS = {"number": 9999, "colour": HUES}
"""The signs by which a region is known, and the largest of each."""
REGION_KEYS = ("set", "locked", *SIGNS)
"""What the table of a region says beside the source of its mask."""
RECIPE_KEYS = ("cells", "rows", "strength", "join", "halo", "contact", "note")
CELL_KEYS = ("region", "shape", "weight", "mirrored")
SHAPE_KEYS = ("inbetweens", "hinge", "label", "group", "marked", "hidden", "delta", "replaces", "detail")
TRIGGER_KEYS = ("region", "shape", "at", "mirrored")
EARLIER_KEYS = ("file", "unit")
LANDMARK_KEYS = ("vertex", "triangle", "bary", "guess")
HINGE_KEYS = ("axis", "origin", "angle_deg", "explained", "rigidity")
STRENGTH_RANGE = (-2.0, 4.0)
"""The range of a recipe's strength in a document. A design choice, no source."""
MOST_BYTES = 16 << 20
"""The largest text of a document in bytes; a safety limit."""


def read_document(path: Path | str) -> Project:
    """The project in a bare `document.toml`, checked without its head, which is not opened.

    Raises MoueError as `parse_document`, and where the file cannot be read or is larger than `MOST_BYTES`.
    """
    path = Path(path)
    return parse_document(bytes_of(path, MOST_BYTES, "a document"), path)


def parse_document(data: bytes, path: Path) -> Project:
    """The project in the bytes of a document that lies at `path`.

    Raises MoueError, with the file and, for a fault of TOML, the line: for unreadable text, a newer version, unknown
    keys, names that are reserved or missing, cells without region, shape and weight.
    """
    try:
        text = data.decode("utf-8")
        table = parse_toml(text)
    except UnicodeDecodeError:
        raise MoueError("is not a text in UTF-8", path) from None
    except tomllib.TOMLDecodeError as error:
        raise _syntax(path, error) from None
    except DAMAGE:
        raise MoueError("holds a number that is too long, or tables that are nested too deep", path) from None
    whole = Values(table, path, "the document")
    version = table.get("moue")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise MoueError("does not say `moue = 1`, so it is no document", path)
    if version > VERSION:
        raise MoueError(f"has version {version}; this Moue reads up to {VERSION}", path, hint="get a newer Moue")
    whole.only(TOP)
    head = whole.text("head")
    if head is None:
        raise MoueError("names no head", path, hint='add head = "FOLDER"')
    check_head_place(path.parent / head, path, "its head")
    parts = whole.tables("parts")
    for part in parts.values():
        part.only(PART_KEYS)
    return Project(
        path, path.parent / head, whole.text("unit"), whole.text("neutral"), whole.text("topology", empty=True) or "",
        _regions(whole), _recipes(whole), {name: dict(part.table) for name, part in parts.items()}, _shapes(whole),
        _levels(whole), _earlier(whole), text=text, landmarks=_landmarks(whole), curves=_curves(whole),
        guesses=_guesses(whole),
        correctives=_correctives(whole),
        axes=FileAxes.read(table.get("up"), table.get("ahead"), path),
        clips=clips_of(whole), views=views_of(whole), references=references_of(whole),
    )  # fmt: skip


def _syntax(path: Path, error: tomllib.TOMLDecodeError) -> MoueError:
    words, line = str(error), None
    if "(at line " in words:
        words, _, place = words.partition(" (at line ")
        digits = place.split(",")[0]
        line = int(digits) if digits.isdigit() else None
    return MoueError(words[:1].lower() + words[1:], path, line)


def _regions(whole: Values) -> tuple[Region, ...]:
    tables = whole.tables("regions")
    for name in tables:
        check_name(name, "region", whole.path, list(tables))
    regions = tuple(region_of(name, each) for name, each in tables.items())
    known: dict[int, str] = {}
    for region in regions:
        if region.number is not None and region.number in known:
            what = f"regions {known[region.number]!r} and {region.name!r} both have number {region.number}"
            raise MoueError(what, whole.path, hint="give one of them another number")
        if region.number is not None:
            known[region.number] = region.name
    return regions


def _recipes(whole: Values) -> tuple[Recipe, ...]:
    tables = whole.tables("recipes")
    for name in tables:
        check_name(name, "recipe", whole.path, [*tables, "neutral"])
    return tuple(recipe_of(name, each) for name, each in tables.items())


def region_of(name: str, said: Values) -> Region:
    """The region in the table [regions.NAME]. Raises MoueError for a reserved name or a table without a source."""
    if name in RESERVED:
        raise MoueError(f"a region may not be named {name!r}", said.path, hint="it always exists")
    source = {key: value for key, value in said.table.items() if key not in REGION_KEYS}
    if said.text("from") is None:
        raise said.error("has no key `from`, the source of its mask")
    signs = [said.whole(key, 1, most) if key in said.table else None for key, most in SIGNS.items()]
    return Region(name, source, said.text("set") or "face", said.flag("locked"), *signs)


def recipe_of(name: str, said: Values) -> Recipe:
    """The recipe in the table [recipes.NAME]. Raises MoueError where its values are out of range or of another kind."""
    if name == "neutral":
        raise MoueError("a recipe may not be named 'neutral'", said.path, hint="that is the face at rest")
    said.only(RECIPE_KEYS)
    join = join_of(said)
    cells = tuple(_cell(cell) for cell in said.rows("cells", "cell"))
    rows = {region: _row(row) for region, row in said.tables("rows").items()}
    strength, halo = said.number("strength", 1.0, *STRENGTH_RANGE), said.number("halo", HALO, 0.0, 1.0)
    note = said.text("note", empty=True) or ""
    try:
        return Recipe(name, cells, rows, strength, join, note, halo, said.flag("contact"))  # type: ignore[arg-type]
    except MoueError as error:
        raise error.at(said.path) from None


def _cell(said: Values) -> Cell:
    said.only(CELL_KEYS)
    region, shape = said.text("region"), said.text("shape")
    if region is None or shape is None or "weight" not in said.table:
        raise said.error("needs a region, a shape and a weight")
    return Cell(region, shape, said.number("weight", None, *WEIGHT_RANGE), said.flag("mirrored"))


def _row(said: Values) -> Row:
    said.only(("kind", "amount"))
    kind: Any = said.text("kind") or "add"
    return Row(kind, said.number("amount", 1.0, 0.0, 1.0))


def _correctives(whole: Values) -> tuple[Corrective, ...]:
    correctives = []
    for said in whole.rows("correctives", "corrective"):
        said.only(("shape", "when"))
        shape = said.text("shape")
        if shape is None:
            raise said.error("names no shape")
        try:
            correctives.append(Corrective(shape, tuple(_trigger(each) for each in said.rows("when", "trigger"))))
        except MoueError as error:
            raise error.at(whole.path) from None
    return tuple(correctives)


def _trigger(said: Values) -> Trigger:
    said.only(TRIGGER_KEYS)
    region, shape = said.text("region"), said.text("shape")
    if region is None or shape is None or "at" not in said.table:
        raise said.error("needs a region, a shape and `at`, the weight at which it triggers fully")
    return Trigger(region, shape, said.number("at", None, *WEIGHT_RANGE), said.flag("mirrored"))


def _shapes(whole: Values) -> dict[str, dict[str, Any]]:
    tables = whole.tables("shapes")
    for name, said in tables.items():
        said.only(SHAPE_KEYS)
        for key in ("label", "group", "delta"):
            said.text(key)
        for key in ("marked", "hidden", "replaces"):
            said.flag(key)
        if said.table.get("replaces") and "delta" not in said.table:
            raise said.error("replaces the library's own and has no delta to do so")
        if "delta" in said.table:
            check_name(name, "shape", whole.path)
        _levels_in(said, "detail", "FILE.npy")
        if said.table.get("detail") and "delta" not in said.table:
            raise said.error("has detail of finer levels and no delta of its own")
        _hinge(said)
        if said.table.get("hinge", "off") != "off" and said.table.get("inbetweens"):
            raise said.error("has in-betweens and a hinge", "remove one of the two")
        for entry in said.rows("inbetweens", "in-between"):
            entry.only(("at", "target"))
            if entry.text("target") is None or "at" not in entry.table:
                raise MoueError(f"an in-between of {name!r} needs `at` and `target`", whole.path)
            entry.number("at", None, -10.0, 10.0)
    return {name: dict(said.table) for name, said in tables.items()}


def _hinge(said: Values) -> None:
    """Check the hinge of a shape: "off", "auto", or a table with axis, origin, angle_deg and rigidity."""
    hinge = said.table.get("hinge", "off")
    if hinge in ("off", "auto"):
        return
    if not isinstance(hinge, dict):
        raise said.error('needs hinge to be "off", "auto" or a table')
    table = Values(hinge, said.path, f"the hinge of {said.where}").only(HINGE_KEYS)
    table.three("origin")
    if not any(table.three("axis")):
        raise table.error("has an axis without a direction")
    if "angle_deg" not in hinge or table.text("rigidity") is None:
        raise table.error("needs angle_deg and rigidity, a file")
    table.number("angle_deg", None, -180.0, 180.0)
    table.number("explained", 1.0, 0.0, 1.0)


def _levels(whole: Values) -> dict[int, Path]:
    places = {level: whole.path.parent / folder for level, folder in _levels_in(whole, "levels", "FOLDER").items()}
    for level, place in places.items():
        check_head_place(place, whole.path, f"level {level}")
    return places


def _earlier(whole: Values) -> dict[str, EarlierFile]:
    tables = whole.tables("earlier")
    files = {}
    for name, said in tables.items():
        said.only(EARLIER_KEYS)
        check_name(name, "earlier head", whole.path, list(tables))
        file = said.text("file")
        if file is None:
            raise said.error("names no file", 'add file = "..."')
        files[name] = EarlierFile(whole.path.parent / file, said.text("unit"))
        check_head_place(files[name].path, whole.path, f"earlier head {name!r}")
    return files


def _levels_in(said: Values, key: str, words: str) -> dict[int, str]:
    """The files or folders by level, from 1 to 8, in the table under `key`."""
    held = said.table.get(key, {})
    if not isinstance(held, dict):
        raise said.error(f"needs {key} to be a table", f'as {key} = {{ 1 = "{words}" }}')
    for level, place in held.items():
        if not (level.isascii() and level.isdecimal()) or not 1 <= int(level) <= 8 or not isinstance(place, str):
            raise said.error(f"has a level {level!r}", f"a level is a number from 1 to 8 and names a {words}")
    return {int(level): place for level, place in held.items()}


def _landmarks(whole: Values) -> dict[str, Place]:
    return {name: landmark_of(said) for name, said in whole.tables("landmarks").items()}


def _curves(whole: Values) -> dict[str, tuple[int, ...]]:
    return {name: curve_of(said) for name, said in whole.tables("curves").items()}


def _guesses(whole: Values) -> frozenset[str]:
    """The landmarks and curves that say guess = true."""
    tables = [*whole.tables("landmarks").items(), *whole.tables("curves").items()]
    return frozenset(name for name, said in tables if said.flag("guess"))


def curve_of(said: Values) -> tuple[int, ...]:
    """The vertices, in order, of the table [curves.NAME]. Raises MoueError where there are fewer than two."""
    vertices = tuple(said.only(("vertices", "guess")).wholes("vertices"))
    if len(vertices) < 2:
        raise said.error("is no curve", "a curve has two vertices or more, in order")
    return vertices


def landmark_of(said: Values) -> Place:
    """The place in the table [landmarks.NAME]. Raises MoueError unless it is a vertex or a point of a triangle."""
    said.only(LANDMARK_KEYS)
    place = set(said.table) - {"guess"}
    if place == {"vertex"}:
        return said.whole("vertex", 0)
    if place != {"triangle", "bary"}:
        raise said.error("is no place", "a place is { vertex } or { triangle, bary }")
    triangle, bary = said.wholes("triangle"), said.three("bary")
    if len(triangle) != 3:
        raise said.error("has a triangle that is not three vertices")
    if abs(sum(bary) - 1.0) > 1e-6:
        raise said.error("has a bary that does not sum to one")
    return SurfacePoint((triangle[0], triangle[1], triangle[2]), (bary[0], bary[1], bary[2]))
