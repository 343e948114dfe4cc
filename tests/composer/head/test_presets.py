"""Presets of regions: their files, and what they make of the demo heads."""

from __future__ import annotations

from hashlib import sha256

import numpy as np
import pytest
from numpy.typing import NDArray

from composer.demo.neutral import DemoNeutral
from composer.errors import MoueError
from composer.geometry.marching import Marching
from composer.head.landmarks import Landmarks
from composer.head.levels import levels
from composer.head.presets import (
    lay_regions,
    parse_region_set,
    region_preset,
    region_set,
    region_set_names,
)
from masks.from_loops import enclosed
from tests.demo_heads import NAMES, neutral


@pytest.fixture(scope="module", params=NAMES)
def demo(request: pytest.FixtureRequest) -> DemoNeutral:
    """Each of the demo heads."""
    return neutral(request.param)


def test_there_is_a_fine_set_and_a_coarse_one() -> None:
    assert region_set_names()[0] == "face"
    fine, eight = region_set("face"), region_set("eight")
    assert len(fine.names) >= 20 and len(eight.names) == 8
    assert set(region_set("coarse").names) == {"brow", "eyes", "mouth", "cheeks"}
    assert region_preset("brow_left")[0].name == "eight"
    with pytest.raises(MoueError, match="did you mean upper_lip_left"):
        region_preset("uper_lip_left")


@pytest.mark.parametrize("name", ["face", "eight", "coarse"])
def test_regions_share_the_face(demo: DemoNeutral, name: str) -> None:
    """All are made; together at most 1; parts, crown, back of the head and depth of the mouth stay free."""
    head = demo.head()
    made = lay_regions(head, region_set(name))
    assert tuple(made.masks) == region_set(name).names and not made.left_out
    masks = np.array(list(made.masks.values()))
    assert masks.min() >= 0 and masks.sum(axis=0).max() <= 1 + 1e-12
    assert masks.max(axis=1).min() > 0.9
    assert masks[:, ~head.skin].max() == 0.0
    ears = np.zeros(head.n_vertices, dtype=bool)
    for group in ("ear_left", "ear_right"):
        ears[np.concatenate([head.polygons.face(int(f)) for f in head.groups[group]])] = True
    jaw_angle = head.landmarks.position("tragion_left", head.neutral)
    back = head.skin & (head.neutral[:, 2] < jaw_angle[2] - 45) & (head.neutral[:, 1] > jaw_angle[1] - 20) & ~ears
    assert back.sum() > 50 and masks[:, back].max() == 0.0
    bag = enclosed(head.surface, head.landmarks.curves["mouth_inner"])
    deepest = bag & (head.neutral[:, 2] < head.neutral[bag, 2].min() + 8)
    assert deepest.any() and masks[:, deepest].max() == 0.0


def test_the_face_is_covered(demo: DemoNeutral) -> None:
    """Between brow, ears and chin hardly anything of the front is left to the remainder in the fine set."""
    head = demo.head()
    total = np.sum(list(lay_regions(head, region_set("face")).masks.values()), axis=0)
    at = {name: head.landmarks.position(name, head.neutral) for name in ("glabella", "gnathion", "cheilion_left")}
    front = head.skin & (head.surface.vertex_normals[:, 2] > 0.3)
    front &= (head.neutral[:, 1] < at["glabella"][1]) & (head.neutral[:, 1] > at["gnathion"][1] + 12)
    for name in ("mouth_inner", "socket_left", "socket_right"):
        front &= ~enclosed(head.surface, head.landmarks.curves[name])
    assert np.quantile(total[front], 0.05) > 0.8


@pytest.mark.parametrize("name", ["face"])
def test_no_lip_reaches_the_other(demo: DemoNeutral, name: str) -> None:
    """Exactly 0 on every vertex of the other lip, from its border to its inner side."""
    head = demo.head()
    made = lay_regions(head, region_set(name)).masks
    curves = head.landmarks.curves
    shared = np.intersect1d(curves["upper_lip"], curves["lower_lip"])
    rings = demo.rings["mouth"]
    lower = np.concatenate([rings[:, 11:26].ravel(), curves["lower_lip"], curves["lip_line_lower"]])
    upper = np.concatenate([rings[:, list(range(8)) + list(range(29, 36))].ravel(), curves["upper_lip"]])
    flat = head.neutral
    mouth = flat[curves["lip_line_lower"]].mean(axis=0)
    lower = np.setdiff1d(lower[np.abs(flat[lower, 1] - mouth[1]) < 14], shared)
    upper = np.setdiff1d(upper[np.abs(flat[upper, 1] - mouth[1]) < 14], shared)
    for side in ("left", "right"):
        assert made[f"upper_lip_{side}"][np.setdiff1d(curves["lower_lip"], shared)].max() == 0.0
        assert made[f"lower_lip_{side}"][np.setdiff1d(curves["upper_lip"], shared)].max() == 0.0
        assert made[f"upper_lip_{side}"][np.setdiff1d(curves["lip_line_lower"], curves["lip_line_upper"])].max() == 0.0
        assert made[f"lower_lip_{side}"][np.setdiff1d(curves["lip_line_upper"], curves["lip_line_lower"])].max() == 0.0
        assert made[f"upper_lip_{side}"][lower].max() == 0.0
        assert made[f"lower_lip_{side}"][upper].max() == 0.0


@pytest.mark.parametrize("name", ["face", "eight"])
def test_left_mirrors_right(demo: DemoNeutral, name: str) -> None:
    head = demo.head()
    made = lay_regions(head, region_set(name)).masks
    for region, mask in made.items():
        stem, side = region.removesuffix("_left").removesuffix("_right"), region[-5:].lstrip("_")
        other = made[{"left": f"{stem}_right", "right": f"{stem}_left"}.get(side, region)]
        assert mask == pytest.approx(other[demo.mirror], abs=1e-3)


def test_finer_levels_get_the_same_regions(demo: DemoNeutral) -> None:
    """Laid on level 1, a region is what the cage's becomes there, but for what the coarse cage cannot show."""
    head = demo.head()
    level = levels(head.polygons, 1)[0]
    cage = lay_regions(head, region_set("eight")).masks
    finer = head.with_(
        polygons=level.polygons,
        neutral=np.asarray(level.matrix @ head.neutral),
        parts=(),
        groups={},
        uv=None,
        landmarks=Landmarks(
            head.landmarks.points, {name: level.curve(line) for name, line in head.landmarks.curves.items()}
        ),
    )
    skin = level.matrix @ head.skin.astype(float) > 0.999
    made = lay_regions(finer, region_set("eight")).masks
    for region, mask in cage.items():
        assert np.abs(level.matrix @ mask - made[region])[skin].mean() < 0.02


def test_few_landmarks_make_what_can_be_made(demo: DemoNeutral) -> None:
    head = demo.head()
    few = ("cheilion_left", "cheilion_right", "pronasale", "gnathion")
    points = {name: head.landmarks.points[name] for name in few}
    made = lay_regions(head, region_set("face"), Landmarks(points, {}))
    assert {"mouth_corner_left", "nose_tip", "chin_left"} <= set(made.masks)
    assert "the curve upper_lid_left" in made.left_out["upper_lid_left"]
    assert any("cheilion_left and" in note for note in made.notes)
    assert set(made.masks) | set(made.left_out) == set(region_set("face").names)
    with pytest.raises(MoueError, match="no landmarks"):
        lay_regions(head.with_(landmarks=None), region_set("face"))


@pytest.fixture
def marched_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A distance that was marched is not marched again where nothing that it is made of differs."""
    march, kept = Marching.from_vertices, {}

    def from_vertices(
        self: Marching, vertices: NDArray, limit_mm: float = np.inf, heads_mm: NDArray | None = None
    ) -> NDArray:
        heads = None if heads_mm is None else np.asarray(heads_mm).tobytes()
        where = self.surface.positions.tobytes(), self.blocked.tobytes(), np.asarray(vertices, dtype=int).tobytes()
        key = sha256(repr((*(sha256(each).digest() for each in where), limit_mm, heads)).encode()).digest()
        if key not in kept:
            kept[key] = march(self, vertices, limit_mm, heads_mm)
        return kept[key].copy()

    monkeypatch.setattr(Marching, "from_vertices", from_vertices)


def test_one_landmark_or_curve_costs_the_regions_that_need_it_and_they_say_so(marched_once: None) -> None:
    """Whichever is missing, empty or too short: every other region is made, and what is not made names it."""
    head = neutral(NAMES[0]).head()
    known = head.landmarks
    assert known is not None
    lame = [(f"the landmark {name}", Landmarks({n: p for n, p in known.points.items() if n != name}, known.curves))
            for name in known.points]  # fmt: skip
    for name, line in known.curves.items():
        for shorter in ([], list(line[:1]), list(line[:2])):
            lame.append((f"the curve {name}", Landmarks(known.points, {**known.curves, name: shorter})))
    every = region_set("face").names
    for words, marks in lame[:: max(1, len(lame) // 16)]:
        made = lay_regions(head, region_set("face"), marks)
        assert set(made.masks) | set(made.left_out) == set(every) and len(made.left_out) <= 4, words
        for region, why in made.left_out.items():
            assert why.startswith(f"the {region} region needs ") and words in why


def test_what_is_missing_is_told_as_an_artist_says_it() -> None:
    head = neutral(NAMES[0]).head()
    known = head.landmarks
    assert known is not None
    points = {name: place for name, place in known.points.items() if name not in ("pogonion", "gnathion")}
    made = lay_regions(head, region_set("face"), Landmarks(points, {}))
    assert made.left_out["chin_left"] == "the chin_left region needs the landmark pogonion, or the landmark gnathion"
    assert made.left_out["neck_left"] == "the neck_left region needs the curve neck_border"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[regions", "not valid TOML"),
        ("words = 'x'", "holds no region"),
        ("[regions.a]\nramp_mm = 3.0\nseeds = [{ points = ['x'] }]", "needs radius_mm"),
        ("[regions.a]\nramp = 3.0\nseeds = []", "did you mean ramp_mm"),
        ("[regions.a]\nramp_mm = -1\nseeds = [{ curve = 'x', radius_mm = 2 }]", "needs ramp_mm"),
        ("[regions.a]\nramp_mm = 3\nseeds = [{ radius_mm = 2 }]", "points or a curve"),
        ("[regions.a]\nramp_mm = 3\nseeds = [{ curve = 'x', span = [1, 0], radius_mm = 2 }]", "span"),
        ("[regions.a]\nramp_mm = 3\nsides = 'both'\nseeds = [{ curve = 'x', radius_mm = 2 }]", "pair or split"),
    ],
)
def test_a_wrong_file_is_told_in_one_line(text: str, words: str) -> None:
    with pytest.raises(MoueError, match=words) as caught:
        parse_region_set(text, "mine", "mine.toml")
    assert "\n" not in str(caught.value) and str(caught.value).startswith("mine.toml")
