"""Moue: facial expressions mixed by region, checked, and baked as new targets.

From Python:

    import composer as moue

    document = moue.open_document("document.toml")
    doubt = moue.make_recipe("doubt", {("brow_inner_left", "surprise"): 0.8, ("mouth_corner_right", "joy"): 0.6})
    moue.bake(document, "baked", [doubt])

The calls are those of `composer.scripting`, which is loaded when the first is used: importing this package is cheap.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from composer.scripting import (
        Cell,
        FitOptions,
        Head,
        Match,
        MoueError,
        Recipe,
        Row,
        add_recipe,
        bake,
        bake_clip,
        carry,
        check,
        check_clip,
        compare_clip,
        draw_sheet,
        evaluate,
        fit,
        make_recipe,
        make_regions,
        match,
        match_clip,
        open_document,
        open_library,
        save_document,
        swap,
        take_table,
        write_tables,
    )

__version__ = "0.1.0"
__all__ = [
    "Cell", "FitOptions", "Head", "Match", "MoueError", "Recipe", "Row", "add_recipe", "bake", "bake_clip", "carry",
    "check", "check_clip", "compare_clip", "draw_sheet", "evaluate", "fit", "make_recipe", "make_regions", "match",
    "match_clip", "open_document", "open_library", "save_document", "swap", "take_table", "write_tables",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """One of the calls for Python, from `composer.scripting` (PEP 562)."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from composer import scripting

    return getattr(scripting, name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
