"""Where seeds of regions lie, with landmarks missing."""

from __future__ import annotations

import numpy as np
import trimesh

from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from masks.landmark_places import Marks
from masks.region_preset import Seed


def test_a_line_breaks_where_a_place_is_missing_and_never_leads_through_the_head() -> None:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=100.0)
    faces = np.asarray(ball.faces)
    surface = Surface(Polygons(np.full(len(faces), 3), faces.ravel(), len(ball.vertices)), np.asarray(ball.vertices))
    ends = {"a": (-100.0, 0.0, 0.0), "m": (0.0, 0.0, 100.0), "b": (100.0, 0.0, 0.0)}
    seed = Seed(radius_mm=30.0, points=("a", "m", "b"))
    skin = np.ones(surface.n_vertices, dtype=bool)
    whole, lacking = Marks(surface, ends, {}, skin).seed(seed, "")
    assert whole is not None and not lacking and surface.positions[whole[0], 2].max() > 95.0
    del ends["m"]
    broken, lacking = Marks(surface, ends, {}, skin).seed(seed, "")
    assert broken is not None and lacking == [frozenset(["the landmark m"])]
    assert np.abs(surface.positions[broken[0], 0]).min() > 80.0
