"""A sheet over an eyeball goes where the eyeball goes when a head is fitted."""

from __future__ import annotations

import numpy as np

from composer.fitting.parts import place_parts
from composer.geometry.rigid import similarity
from composer.head.head import Part
from tests.awkward_heads import awkward


def test_a_sheet_that_follows_its_ball_stays_on_it() -> None:
    a = awkward("three_shapes", "layered_eyes")
    parts = tuple(
        Part(name, a.vertices(old).astype(np.int32))
        for side in ("left", "right")
        for name, old in ((f"eye_{side}", f"eye_{side}"), (f"ball_sheet_{side}", f"occlusion_{side}"))
    )
    head = a.head.with_(parts=parts)
    wider = head.neutral * [1.1, 0.95, 1.05]
    at, _ = place_parts(head, wider)
    for eye, sheet in zip(parts[::2], parts[1::2], strict=True):
        moved = similarity(head.neutral[eye.vertices], at[eye.vertices])
        np.testing.assert_allclose(moved(head.neutral[sheet.vertices]), at[sheet.vertices], atol=1e-6)
        assert np.abs(at[sheet.vertices] - head.neutral[sheet.vertices]).max() > 1.0
