"""All checks, in the order in which they run, and how to run them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from composer.checks.asymmetry import ASYMMETRY
from composer.checks.check import Check
from composer.checks.contact_left import CONTACT
from composer.checks.coverage import COVERAGE
from composer.checks.document_subject import DocumentCheck, DocumentSubject
from composer.checks.empty import EMPTY
from composer.checks.finding import Finding
from composer.checks.flipped import FLIPPED
from composer.checks.folds import FOLDS
from composer.checks.head_motion import MOTION
from composer.checks.islands import ISLANDS
from composer.checks.left_skin import LEFT_SKIN
from composer.checks.library_shapes import SHAPES
from composer.checks.lids import LIDS
from composer.checks.lips import LIPS
from composer.checks.mouth_parts import MOUTH_PARTS
from composer.checks.neutral_faces import NEUTRAL
from composer.checks.pinch import PINCH
from composer.checks.places import located
from composer.checks.seam import SEAM
from composer.checks.stretch import STRETCH
from composer.checks.subject import CheckSubject
from composer.checks.volume import VOLUME
from composer.checks.with_jaw import WITH_JAW
from composer.errors import unknown

CHECKS: tuple[Check, ...] = (
    EMPTY, FLIPPED, FOLDS, STRETCH, PINCH, SEAM, LIPS, LIDS, MOUTH_PARTS, LEFT_SKIN, WITH_JAW, CONTACT, VOLUME,
    ASYMMETRY,
)  # fmt: skip

COLLISIONS: tuple[Check, ...] = (FLIPPED, FOLDS, LIPS, LIDS, MOUTH_PARTS)
"""Those whose findings come and go on the way to a pose, and where two poses are played together."""
DOCUMENT_CHECKS: tuple[DocumentCheck, ...] = (NEUTRAL, SHAPES, MOTION, ISLANDS, COVERAGE)


def chosen(names: Iterable[str]) -> tuple[Check, ...]:
    """The checks of these names, in the registry's order. Raises MoueError for a name that is none."""
    wanted = list(names)
    known = [check.name for check in CHECKS]
    for name in wanted:
        if name not in known:
            raise unknown("check", name, known)
    return tuple(check for check in CHECKS if check.name in wanted)


def run_checks(subject: CheckSubject, checks: Sequence[Check] = CHECKS) -> list[Finding]:
    """All findings of `checks` on one pose, worst first, each with its place."""
    return sorted(located_checks(subject, checks), key=lambda finding: finding.rank)


def located_checks(subject: CheckSubject, checks: Sequence[Check]) -> list[Finding]:
    """The same in the order in which they are found."""
    return [located(finding, subject) for check in checks for finding in check.run(subject)]


def run_document_checks(subject: DocumentSubject) -> list[Finding]:
    """All findings on a document's head, shapes and masks, worst first, each with its place on the neutral."""
    at_rest = CheckSubject(subject.facts, subject.head.neutral, masks=subject.raw)
    found = [located(finding, at_rest) for check in DOCUMENT_CHECKS for finding in check.run(subject)]
    return sorted(found, key=lambda finding: finding.rank)
