"""Head motions in the demo's library, beside one rigid fit a shape, with their errors against the recorded motions."""

from __future__ import annotations

import numpy as np

from composer.bench.measure import Row, measure
from composer.demo.character import character
from composer.demo.expressions import EXPRESSION_NAMES, EXPRESSIONS
from composer.demo.library import library_of
from composer.demo.neutral import build_neutral
from composer.geometry.rigid import similarity
from composer.head.stabilise import head_motions


def rows() -> list[Row]:
    """The keeper's expressions; the note has the largest errors of angle and of position."""
    head = library_of(build_neutral(character("keeper")), names=EXPRESSION_NAMES)
    motions = head_motions(head)
    angle = place = 0.0
    for each in EXPRESSIONS:
        matrix = each.motion.matrix()
        recorded = head.neutral @ matrix[:3, :3].T + matrix[:3, 3]
        moved = motions[each.name].motion(head.neutral)
        angle = max(angle, similarity(moved, recorded, scaled=False).angle_deg)
        place = max(place, float(np.linalg.norm(moved - recorded, axis=1).max()))

    def plain() -> None:
        for shape in head.shapes:
            similarity(head.neutral, head.neutral + shape.delta, scaled=False)

    return [
        measure(
            f"head motion of {len(head.shapes)} shapes",
            lambda: head_motions(head),
            "one rigid fit a shape",
            plain,
            repeats=3,
            warm=1,
            note=f"{head.n_vertices:,} vertices; "
            f"at most {angle:.4f} degrees and {place:.4f} mm from the recorded motions (goal 0.1 and 0.1)",
        )
    ]
