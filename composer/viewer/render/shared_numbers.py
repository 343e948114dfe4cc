"""The numbers of `composer.picture` that shaders share: lines of GLSL that define each of them by its own name."""

from __future__ import annotations

from types import ModuleType

from composer.picture import eye_light, skin_light
from composer.picture.lid_edges import PLACES


def defined(module: ModuleType) -> tuple[str, ...]:
    """`NAME value` for every number and every triple of numbers in capitals that a module holds, as GLSL has them."""
    lines = []
    for name, value in vars(module).items():
        if not name.isupper() or name.startswith("_"):
            continue
        if isinstance(value, tuple):
            lines.append(f"{name} vec3({', '.join(repr(float(each)) for each in value)})")
        elif isinstance(value, float):
            lines.append(f"{name} {value!r}")
    return tuple(lines)


SKIN_LIGHT = defined(skin_light)
EYE_LIGHT = (
    *defined(eye_light), f"LID_PLACES {len(PLACES)}", f"LID_FIRST {float(PLACES[0])!r}",
    f"LID_STEPS {1.0 / float(PLACES[1] - PLACES[0])!r}",
)  # fmt: skip
