"""Mask islands: specks of a region that hang together with nothing else of it.

Why it matters: a brush that slipped leaves a speck on the other lip or behind the ear, and a recipe moves it along.
A piece counts as an island where the mask's weight on it is a small part of that on the largest piece: a region that
is meant to lie on both sides has two pieces of about the same weight.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.document_subject import DocumentCheck, DocumentSubject
from composer.checks.finding import Finding

PRESENT = 0.02  # a mask below this is not there
SMALL = 0.05  # of the weight of the largest piece


def _run(subject: DocumentSubject) -> Iterator[Finding]:
    for region, mask in subject.raw.items():
        weight = mask * subject.areas
        pieces = subject.pieces((mask > PRESENT) & subject.head.skin)
        sizes = np.array([float(weight[piece].sum()) for piece in pieces])
        small = np.flatnonzero(sizes < SMALL * sizes.max(initial=0.0))
        if not len(small):
            continue
        vertices = np.concatenate([pieces[i] for i in small])
        amounts = 100.0 * mask[vertices]
        count = f"{len(small)} island{'s' if len(small) > 1 else ''}"
        yield Finding(
            code="islands.mask",
            severity="warning",
            words=f"the mask of {region} has {count} apart from the rest of it, of "
            f"{len(vertices)} {'vertices' if len(vertices) > 1 else 'vertex'}, up to {amounts.max():.0f} percent",
            hint="erase them, or soften the mask until they join",
            vertices=vertices,
            amounts=amounts,
            value=float(amounts.max()),
            unit="percent",
            where=region,
        )


ISLANDS = DocumentCheck("islands", "mask islands", "a speck of a region moves along, far from it", _run)
