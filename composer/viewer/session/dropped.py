"""What is told of a shape that was brought into a region: done, or that it hardly moves anything there."""

from __future__ import annotations

from composer.head.symmetry import pairs_of
from composer.mixing.moved_here import furthest_within
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

HARDLY = 0.25
"""Share of its furthest movement below which a shape counts as hardly moving a region (our choice: a smile in the brow
keeps less than a tenth, one in the cheek more than a half)."""


def tell_dropped(stage: Stage, region: str, shape: str, mirrored: bool) -> None:
    """Tell that a shape is in a region now; where it hardly moves anything there, how far, and whether its mirror image
    would move more."""
    session = stage.opened
    here, other = moved_here(session, region, shape, mirrored)
    whole = session.furthest_mm(shape)
    if here >= HARDLY * whole:
        stage.say(f"{shape} in {region}. Point at its cell on the board and type another weight.", "done")
        return
    words = f"{shape} moves {here:.1f} of its {whole:.1f} mm in {region}."
    if other > max(2.0 * here, HARDLY * whole):
        words += f" {'Unmirrored' if mirrored else 'Mirrored'} it would move {other:.1f} mm."
    stage.say(words)


def moved_here(session: Session, region: str, shape: str, mirrored: bool) -> tuple[float, float]:
    """The furthest in mm that a shape moves a region, and that its other side would."""
    mask = session.evaluated.effective.get(region)
    if mask is None:
        whole = session.furthest_mm(shape)
        return whole, whole
    delta, partner = session.head.shape(shape).delta, pairs_of(session.head)
    plain = furthest_within(delta, mask)
    other = furthest_within(delta, mask, partner) if partner is not None else 0.0
    return (other, plain) if mirrored else (plain, other)
