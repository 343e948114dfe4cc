"""What contact could not part: a recipe that keeps contact, and still goes through somewhere.

Why it matters: contact is bounded, so that it never turns a face over; where a mix asks for more, somebody has to look.
The depth is what lies deeper than the neutral and the recipe's own shapes alone at their weights do.
"""

from __future__ import annotations

from collections.abc import Iterator

from composer.checks.check import Check
from composer.checks.finding import Finding
from composer.checks.subject import CheckSubject


def _run(subject: CheckSubject) -> Iterator[Finding]:
    recipe, contact = subject.recipe, subject.contact
    if recipe is None or contact is None or not recipe.contact:
        return
    for words in contact.missing:
        yield Finding("contact.skipped", "note", f"contact: {words}", hint="mark the curve, or say what the part is",
                      where=subject.name)  # fmt: skip
    for left in contact.left(subject.pose, recipe):
        yield Finding(
            code="contact.left",
            severity="warning",
            words=f"{left.sentence}: contact may not do more",
            hint="lower the cells that press there, or sculpt a corrective for this recipe",
            vertices=left.vertices.astype("int32"),
            amounts=left.amounts,
            value=left.most_mm,
            unit="mm",
            where=left.words,
        )


CONTACT = Check("contact", "what contact could not part", "where a mix asks for more, somebody has to look", _run)
