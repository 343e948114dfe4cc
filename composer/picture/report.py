"""What the checks found, as one page that opens anywhere: pictures inside it, worst first, what to do about
each.

The page is a single HTML file without scripts, fonts or links to anything outside. The same findings give the
same page.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import SEVERITIES, Finding
from composer.picture.camera import Camera, frame, look, unit
from composer.picture.figure import Posed
from composer.picture.heat import Scale, draw_legend, legend_height, nice
from composer.picture.labels import DARK
from composer.picture.render import BACKGROUND, Studio
from composer.progress import Progress

if TYPE_CHECKING:
    from PIL.Image import Image

Floats = NDArray[np.float64]
SIGNS = {"error": "\u25b2 error", "warning": "\u25c6 warning", "note": "\u25cb note"}
WORDS = {"mm": "how deep or how far", "percent": "strain beyond the shapes", "degrees": "how far turned"}


@dataclass(frozen=True, eq=False)
class Checked:
    """One pose that was checked: its name, vertices (n, 3) mm and findings."""

    name: str
    positions: NDArray
    findings: Sequence[Finding]


def finding_picture(
    studio: Studio,
    positions: NDArray,
    finding: Finding,
    *,
    posed: Posed | None = None,
    size: tuple[int, int] = (400, 360),
) -> Image:
    """The pose (n, 3) (made ready as `posed`, if it is), close to where the finding is and from where it is
    best seen, with its amounts as heat.
    """
    from PIL import Image as Images

    amounts = np.full(len(positions), np.nan)
    worst = finding.value if finding.amounts is None else float(np.max(finding.amounts, initial=0.0))
    scale = Scale(WORDS.get(finding.unit, finding.code), finding.unit, 0.0, nice(worst))
    given = np.full(len(finding.vertices), worst) if finding.amounts is None else finding.amounts
    amounts[finding.vertices] = np.maximum(given, 0.35 * scale.high)  # even the least is seen as found
    camera = _close(studio, np.asarray(positions, dtype=np.float64), finding.vertices, size)
    picture = studio.picture(positions, posed=posed, camera=camera, colours=scale.colours(amounts))
    image = Images.new("RGB", (size[0], size[1] + legend_height() + 16), BACKGROUND)
    image.paste(_ringed(picture, camera, np.asarray(positions)[finding.vertices]), (0, 0))
    draw_legend(image, scale, (14, size[1] + 6, size[0] - 14, image.height))
    return image


def html_report(
    studio: Studio, checked: Sequence[Checked], *, title: str, progress: Progress | None = None
) -> str:
    """The page, as text to be written in UTF-8. Poses come worst first, those without findings last, by name."""
    ordered = sorted(checked, key=_rank)
    blocks = []
    for i, one in enumerate(ordered):
        if progress is not None:
            progress(i / len(ordered), f"picturing the findings of {one.name}")
        if any(finding.severity != "note" for finding in one.findings):
            blocks.append(_pose(studio, one))
    clean = [one.name for one in ordered if all(f.severity == "note" for f in one.findings)]
    notes = sorted(
        {finding.words for one in checked for finding in one.findings if finding.severity == "note"}
    )
    return _PAGE.format(
        title=escape(title), summary=_summary(checked), rows=_table(ordered), poses="\n".join(blocks),
        clean=_list("Nothing found", clean), notes=_list("Not looked at, or worth knowing", notes),
    )  # fmt: skip


def _rank(one: Checked) -> tuple[float, float, str]:
    first = min((finding.rank for finding in one.findings), default=(len(SEVERITIES), 0.0))
    return (*first, one.name)


def _close(studio: Studio, positions: Floats, vertices: NDArray, size: tuple[int, int]) -> Camera:
    """A camera that looks at `vertices` from outside the head, level with them or nearly so."""
    neutral = studio.figure.neutral
    spots = positions[vertices] if len(vertices) else positions
    middle = 0.5 * (neutral.min(axis=0) + neutral.max(axis=0))
    out = unit((spots.mean(axis=0) - middle) * np.array([1.0, 0.35, 1.0])) + np.array([0.0, 0.0, 0.5])
    axes = look((float(out[0]), float(np.clip(out[1], -0.4, 0.4)), float(out[2])))
    local = spots @ axes.T
    centre, half = 0.5 * (local.min(axis=0) + local.max(axis=0)), 0.5 * np.ptp(local, axis=0)
    least = 0.09 * float(np.linalg.norm(np.ptp(neutral, axis=0)))
    reach = np.maximum(half * 1.5, least) * np.array([1.0, 1.0, 0.0])
    corners = centre + np.array([[x, y, 0.0] for x in (-1.0, 1.0) for y in (-1.0, 1.0)]) * reach
    return frame(corners @ axes, axes, size, 0.95)


def _ringed(picture: Image, camera: Camera, spots: Floats) -> Image:
    """The picture with a ring about the places (k, 3): what is found may be hidden, and colour is never alone."""
    from PIL import Image as Images
    from PIL import ImageDraw

    if not len(spots):
        return picture
    seen, _ = camera.project(spots)
    middle, half = 0.5 * (seen.min(axis=0) + seen.max(axis=0)), 0.5 * np.ptp(seen, axis=0)
    half = np.maximum(half * 1.2, 8.0) + 12.0
    fine = 4  # drawn larger and brought down, so that the ring is smooth
    cover = Images.new("L", (picture.width * fine, picture.height * fine), 0)
    dark = cover.copy()
    for layer, wide in ((dark, 4.0), (cover, 1.8)):
        reach = half + wide / 2.0
        box = [*((middle - reach) * fine), *((middle + reach) * fine)]
        ImageDraw.Draw(layer).ellipse(box, outline=255, width=round(wide * fine))
    out = picture
    for layer, ink in ((dark, DARK), (cover, (255, 255, 255))):
        share = layer.resize(picture.size, Images.Resampling.BOX)
        out = Images.composite(Images.new("RGB", picture.size, ink), out, share)
    return out


def _data_uri(image: Image) -> str:
    held = io.BytesIO()
    image.save(held, "PNG")
    return "data:image/png;base64," + base64.b64encode(held.getvalue()).decode("ascii")


def _pose(studio: Studio, one: Checked) -> str:
    figures = []
    posed = studio.figure.posed(one.positions)
    for finding in sorted(one.findings, key=lambda f: f.rank):
        if finding.severity == "note":
            continue
        source = _data_uri(finding_picture(studio, one.positions, finding, posed=posed))
        measure = f"<b>{escape(finding.measure)}</b>" if finding.measure else ""
        where = f" at {escape(finding.where)}" if finding.where and finding.where != one.name else ""
        figures.append(
            f'<figure><img alt="{escape(one.name)}: {escape(finding.words)}" src="{source}">'
            f'<figcaption><span class="{finding.severity}">{SIGNS[finding.severity]}</span> '
            f"<code>{escape(finding.code)}</code>{where} {measure}"
            f"<p>{escape(_sentence(finding.words))}</p>"
            f"<p class=mend>{escape(_sentence(finding.mend))}</p></figcaption></figure>"
        )
    return f"<section><h2>{escape(one.name)}</h2><div class=row>{''.join(figures)}</div></section>"


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _summary(checked: Sequence[Checked]) -> str:
    every = [finding.severity for one in checked for finding in one.findings]
    errors, warnings = every.count("error"), every.count("warning")
    return (
        f"{len(checked)} pose{'' if len(checked) == 1 else 's'} checked: {errors} error"
        f"{'' if errors == 1 else 's'}, {warnings} warning{'' if warnings == 1 else 's'}."
    )


def _table(ordered: Sequence[Checked]) -> str:
    rows = []
    for one in ordered:
        for finding in sorted(one.findings, key=lambda f: f.rank):
            if finding.severity == "note":
                continue
            cells = (one.name, finding.where, finding.words, finding.measure)
            rows.append(
                f'<tr><td class="{finding.severity}">{SIGNS[finding.severity]}</td>'
                + "".join(f"<td>{escape(cell)}</td>" for cell in cells)
                + "</tr>"
            )
    return "".join(rows) or '<tr><td colspan="5">Nothing was found.</td></tr>'


def _list(heading: str, names: Sequence[str]) -> str:
    if not names:
        return ""
    items = "".join(f"<li>{escape(name)}</li>" for name in names)
    return f"<section><h2>{heading}</h2><ul>{items}</ul></section>"


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>
body{{margin:0 auto;max-width:1240px;padding:32px 28px;background:#f3f2ee;color:#18191c;
font:16px/1.5 system-ui,sans-serif}}
h1{{font-size:28px;margin:0}} h2{{font-size:20px;margin:36px 0 12px}} p{{margin:6px 0}}
table{{border-collapse:collapse;width:100%;margin-top:20px}} th,td{{text-align:left;padding:7px 14px 7px 0;
border-bottom:1px solid #cfcdc6;vertical-align:top}} td:last-child{{white-space:nowrap;text-align:right}}
.row{{display:flex;flex-wrap:wrap;gap:20px}} figure{{margin:0;width:400px;max-width:100%;background:#fff}}
figure img{{display:block;width:100%;height:auto}} figcaption{{padding:12px 16px 14px}}
.error{{color:#a11212;font-weight:600;white-space:nowrap}} .warning{{color:#7a4b00;font-weight:600;
white-space:nowrap}} .mend{{color:#3d4046}} code{{font-size:14px}} ul{{margin:0;padding-left:20px}}
</style></head><body>
<h1>{title}</h1><p>{summary}</p>
<table><thead><tr><th>How bad</th><th>Pose</th><th>Where</th><th>What</th><th>How much</th></tr></thead>
<tbody>{rows}</tbody></table>
{poses}
{clean}
{notes}
</body></html>
"""
