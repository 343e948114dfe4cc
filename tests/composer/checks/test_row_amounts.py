"""The amount of row `all` is felt by the checks: a pose is compared with what its shapes do at that amount."""

import numpy as np
import pytest

from composer.checks.registry import chosen
from composer.checks.subject import CheckSubject
from composer.mixing.linear import pose as mixed
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.checks.check_heads import plane_head


def test_faces_that_no_shape_turns_at_half_its_amount_are_found() -> None:
    """Each shape takes x to -0.5 x at 1, so to 0.25 x at amount a half; both together take it to -0.5 x."""
    squeeze = np.diag([-0.5, 1.0, 1.0])
    head = plane_head({"one": squeeze, "two": squeeze})
    recipe = Recipe("both", (Cell("all", "one", 1.0), Cell("all", "two", 1.0)), {"all": Row("add", 0.5)})
    subject = CheckSubject.of(head, mixed(head, {}, recipe), name="both", recipe=recipe)
    assert subject.pose[0, 0] == pytest.approx(-0.5 * head.neutral[0, 0])
    for source in subject.sources:
        np.testing.assert_allclose(source.delta[:, 0], -0.75 * head.neutral[:, 0], atol=1e-5)
    (finding, *_) = chosen(["flipped"])[0].run(subject)
    assert finding.code.startswith("flipped")
