"""What the window remembers between runs: documents opened last, sizes of panels, keys that were changed.

A small JSON file in the folder where this machine keeps programs' settings. A file that cannot be read counts
as missing; one that cannot be written is skipped.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path

import platformdirs

from composer.errors import MoueError
from composer.head.atomic import write_whole

MOST_RECENT = 8
LARGEST_PX = 20_000
"""Sizes of panels above this are damage."""


@dataclass
class Settings:
    """`recent` paths, newest first; `panels` sizes that panels were dragged to, pixels at scale 1, by the place and the
    side ("mix foot"), `folded` those that are folded; `picture_px` the side of the tray's pictures; `scale` of the
    interface; `soft_shadows` where a card has time for them; `exchanged` middle drag turns and right drag moves; `keys`
    actions to the keys chosen for them.
    """

    recent: list[str] = field(default_factory=list)
    panels: dict[str, int] = field(default_factory=dict)
    folded: list[str] = field(default_factory=list)
    picture_px: int = 84
    scale: float = 1.0
    soft_shadows: bool = True
    exchanged: bool = False
    keys: dict[str, str] = field(default_factory=dict)

    def opened(self, path: Path) -> None:
        """Put a path first among the recent ones."""
        name = str(path.resolve())
        self.recent = [name, *(each for each in self.recent if each != name)][:MOST_RECENT]

    @property
    def there(self) -> list[Path]:
        """The recent paths that still exist."""
        return [Path(name) for name in self.recent if os.path.exists(name)]


def settings_folder() -> Path:
    """Where settings lie: `MOUE_SETTINGS` where that is set, else the machine's own place."""
    return Path(os.environ.get("MOUE_SETTINGS") or platformdirs.user_config_dir("moue", appauthor=False))


def data_folder() -> Path:
    """Where the demo and autosaves of documents without a name lie."""
    folder = os.environ.get("MOUE_SETTINGS")
    return Path(folder) / "data" if folder else Path(platformdirs.user_data_dir("moue", appauthor=False))


def read_settings() -> Settings:
    """What was remembered; fresh settings where nothing can be read."""
    try:
        held = json.loads((settings_folder() / "window.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return Settings()
    fresh = Settings()
    if not isinstance(held, dict):
        return fresh
    for name, default in asdict(fresh).items():
        value = held.get(name)
        if isinstance(value, type(default)) or (isinstance(default, float) and isinstance(value, int)):
            with contextlib.suppress(OverflowError):
                setattr(fresh, name, type(default)(value))
    fresh.recent = [each for each in fresh.recent if isinstance(each, str)]
    fresh.keys = {name: combo for name, combo in fresh.keys.items() if isinstance(combo, str)}
    fresh.panels = {name: size for name, size in fresh.panels.items() if type(size) is int and 0 < size < LARGEST_PX}
    fresh.folded = [each for each in fresh.folded if isinstance(each, str)]
    fresh.picture_px = min(max(fresh.picture_px, 48), 240)
    fresh.scale = min(max(fresh.scale, 0.75), 3.0) if math.isfinite(fresh.scale) else Settings.scale
    return fresh


def write_settings(settings: Settings) -> None:
    """Write the settings; a folder that cannot be written is skipped."""
    text = json.dumps(asdict(settings), indent=1)
    with contextlib.suppress(OSError, MoueError):
        settings_folder().mkdir(parents=True, exist_ok=True)
        write_whole(settings_folder() / "window.json", lambda file: file.write(text.encode()), sync=False)
