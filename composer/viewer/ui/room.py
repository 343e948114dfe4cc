"""How much room each panel gets: what the person asked for, what the screen allows, and what folds away.

The view keeps at least `VIEW_SHARE` of the window. Where the panels ask for more, all of them give way by the same
share of what they have above their least size, but for the one that was asked for last; where that is not enough, they
fold, that one last. No imgui here: sizes in, sizes out.
"""

from __future__ import annotations

from dataclasses import dataclass

VIEW_SHARE = 0.4
"""Least share of the window that the view takes. A design choice, no source."""
FOLDED = 18.0
"""Width or height of a folded panel, in pixels at scale 1."""
LEAST = {"left": 184.0, "right": 168.0, "foot": 146.0}
"""Least sizes of panels that are not folded, in pixels at scale 1."""
MOST = 0.6
"""The largest share of the window's width or height that one panel may take."""
ORDER = ("left", "right", "foot")
"""In this order panels fold where there is no room."""


@dataclass(frozen=True)
class Room:
    """Sizes in window points of the panels at the left, right and foot, 0 where there is none, and which of them are
    `folded`."""

    left: float
    right: float
    foot: float
    folded: frozenset[str]

    def of(self, side: str) -> float:
        """The size of a side's panel."""
        return {"left": self.left, "right": self.right, "foot": self.foot}[side]


def usual(side: str, wide: float, high: float, scale: float, at_usual: float) -> float:
    """The size of a panel that nobody has dragged, in points: `at_usual` pixels on a window of 1280 x 800, more on a
    larger one, so that a board shows more rows and a tray more pictures. `wide`, `high` are the window's, points."""
    if side == "foot":
        return at_usual * scale * max(high / scale / 800.0, 0.0)
    more = max(wide / scale - 1280.0, 0.0)
    return scale * (at_usual + (0.2 if side == "right" else 0.08) * more)


def room_for(
    window: tuple[float, float], header: float, wanted: dict[str, float], folded: frozenset[str], scale: float,
    kept: str = "",
) -> Room:  # fmt: skip
    """What the panels get in a window (width, height) under a header of this height, all in points.

    `wanted` has a size for each side that has a panel; `folded` are those that the person folded; `kept` is the side
    that was asked for last: the others give way first.
    """
    wide, high = max(window[0], 1.0), max(window[1], 1.0)
    shut = set(folded) & set(wanted)
    if kept in wanted:
        most = most_for(kept, window, header, frozenset(wanted), frozenset(shut), scale)
        wanted = wanted | {kept: min(wanted[kept], most)}
    for side in [*(s for s in ORDER if s != kept), kept, None]:
        sizes = _shrunk(wide, high, header, wanted, shut, scale, kept)
        if side is None or _view(wide, high, header, sizes) >= VIEW_SHARE * wide * high - 1e-6:
            break
        if side in wanted:
            shut.add(side)
    return Room(sizes.get("left", 0.0), sizes.get("right", 0.0), sizes.get("foot", 0.0), frozenset(shut))


def most_for(
    side: str, window: tuple[float, float], header: float, sides: frozenset[str], folded: frozenset[str], scale: float
) -> float:  # fmt: skip
    """How large one panel may be while the others on these `sides` have their least sizes, in points."""
    wide, high = max(window[0], 1.0), max(window[1], 1.0)
    least = VIEW_SHARE * wide * high
    size = {each: scale * (FOLDED if each in folded else LEAST[each]) for each in sides} | {side: 0.0}
    across = wide - size.get("left", 0.0) - size.get("right", 0.0)
    if side == "foot":
        most = high - header - least / max(across, 1.0)
    else:
        most = across - least / max(high - header - size.get("foot", 0.0), 1.0)
    return max(min(most, MOST * (high if side == "foot" else wide)), LEAST[side] * scale)


def _shrunk(
    wide: float, high: float, header: float, wanted: dict[str, float], shut: set[str], scale: float, kept: str
) -> dict[str, float]:
    """The largest share of what is wanted above the least sizes that leaves the view its room."""
    folded = {side: FOLDED * scale for side in wanted if side in shut}
    least = {side: min(LEAST[side] * scale, size) for side, size in wanted.items() if side not in shut}
    if kept in least:
        least[kept] = wanted[kept]
    extra = {side: wanted[side] - least[side] for side in least}

    def sizes(share: float) -> dict[str, float]:
        return folded | {side: least[side] + share * extra[side] for side in least}

    low, top = 0.0, 1.0
    if _view(wide, high, header, sizes(1.0)) >= VIEW_SHARE * wide * high:
        return sizes(1.0)
    for _ in range(30):
        middle = 0.5 * (low + top)
        if _view(wide, high, header, sizes(middle)) >= VIEW_SHARE * wide * high:
            low = middle
        else:
            top = middle
    return sizes(low)


def _view(wide: float, high: float, header: float, sizes: dict[str, float]) -> float:
    """The area that is left for the view."""
    across = wide - sizes.get("left", 0.0) - sizes.get("right", 0.0)
    return max(across, 0.0) * max(high - header - sizes.get("foot", 0.0), 0.0)
