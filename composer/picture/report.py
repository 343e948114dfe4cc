"""The findings of the checks as one page: worst first, with a picture of each finding and what to do about it.

The page is a single HTML file without scripts, fonts or outside links. A list on top links to each finding. Below, each
pose is beside the pictures of its findings. The same findings give the same page.
"""

from __future__ import annotations

import html
from collections.abc import Sequence

from composer.checks.checked import Checked
from composer.checks.finding import SEVERITIES, Finding
from composer.checks.words import plain, title_of, why_of
from composer.errors import visible
from composer.picture.finding_picture import finding_picture, pose_picture
from composer.picture.png import data_uri
from composer.picture.render import Studio
from composer.progress import Progress

SIGNS = {"error": "\u25b2 error", "warning": "\u25c6 warning", "note": "\u25cb note"}
KINDS = {
    "recipe": "recipe", "sweep": "on the way to a recipe", "pair": "two played together",
    "document": "the document itself", "shape": "shape", "frame": "a frame of the clip",
}  # fmt: skip
MOST_PICTURES = 150
"""Most findings that are pictured, worst first (our choice); the rest are in the list only, and the page says so."""


def html_report(
    studio: Studio, checked: Sequence[Checked], *, title: str, notes: Sequence[str] = (),
    progress: Progress | None = None, top: str = "",
) -> str:  # fmt: skip
    """The page as text, to be written in UTF-8. The worst pose is first; those without findings are last, by name.
    `notes` stand before those of the findings, `top`, HTML, above all.
    """
    ordered = sorted((one for one in checked if _grave(one)), key=_rank)
    rows, blocks, count = [], [], 0
    for i, one in enumerate(ordered):
        if progress is not None:
            progress(i / len(ordered), f"picturing {one.name}")
        found = _grave(one)
        pictured = found[: max(MOST_PICTURES - count, 0)]
        rows += [_row(one, finding, count + j, j < len(pictured)) for j, finding in enumerate(found)]
        if pictured:
            blocks.append(_pose(studio, one, pictured, count))
        count += len(found)
    more = count - MOST_PICTURES
    named = [one for one in checked if one.kind in ("recipe", "document", "shape")]
    clean = sorted({plain_name(one) for one in named if not _grave(one)})
    noted = sorted({_noted(finding) for one in checked for finding in one.findings if finding.severity == "note"})
    return _PAGE.format(
        title=escape(title), top=top, summary=_summary(checked), rows="".join(rows) or _NOTHING,
        poses="\n".join(blocks),
        more=f"<p>{more} more findings are in the list above without a picture.</p>" if more > 0 else "",
        clean=_list("Nothing found", clean), notes=_list("Notes", [*map(_sentence, notes), *noted]),
    )  # fmt: skip


def escape(words: str) -> str:
    """`words` as a page shows them, in text and in quoted attributes (HTML Living Standard, 13.1.2.3 and 13.1.4), with
    control characters made visible."""
    return html.escape(visible(words))


def plain_name(one: Checked) -> str:
    """The name of a checked subject, with its kind where it is neither a recipe nor a shape."""
    return one.name if one.kind in ("recipe", "shape", "frame") else f"{one.name} ({KINDS[one.kind]})"


def _grave(one: Checked) -> list[Finding]:
    return sorted((f for f in one.findings if f.severity != "note"), key=lambda finding: finding.rank)


def _rank(one: Checked) -> tuple[float, float, str]:
    first = min((finding.rank for finding in one.findings), default=(len(SEVERITIES), 0.0))
    return (*first, one.name)


def _row(one: Checked, finding: Finding, number: int, pictured: bool) -> str:
    title = escape(_begun(title_of(finding)))
    link = f'<a href="#f{number}">{title}</a>' if pictured else title
    cells = (escape(one.name), escape(plain(finding.where)), link, escape(finding.measure))
    return (
        f'<tr><td class="{finding.severity}">{SIGNS[finding.severity]}</td>'
        + "".join(f"<td>{cell}</td>" for cell in cells)
        + "</tr>"
    )


def _pose(studio: Studio, one: Checked, found: Sequence[Finding], number: int) -> str:
    posed = studio.figure.posed(one.positions)
    overview = data_uri(pose_picture(studio, one.positions, found, posed=posed))
    cards = "".join(_card(studio, one, finding, posed, number + j) for j, finding in enumerate(found))
    errors = sum(finding.severity == "error" for finding in found)
    count = _counted(errors, "error") if errors else ""
    count += (", " if errors and errors < len(found) else "") + (
        _counted(len(found) - errors, "warning") if errors < len(found) else ""
    )
    return (
        f'<section class=pose><div class=whole><h2>{escape(one.name)}</h2><p class=kind>{KINDS[one.kind]}: {count}</p>'
        f'<img alt="{escape(one.name)}, all findings" src="{overview}"></div>'
        f"<div class=cards>{cards}</div></section>"
    )


def _card(studio: Studio, one: Checked, finding: Finding, posed, number: int) -> str:  # type: ignore[no-untyped-def]
    picture = ""
    if len(finding.vertices):
        source = data_uri(finding_picture(studio, one.positions, finding, posed=posed))
        picture = f'<img alt="{escape(one.name)}: {escape(finding.words)}" src="{source}">'
    where = f"<span class=where>{escape(plain(finding.where))}</span>" if finding.where else ""
    measure = f"<span class=much>{escape(finding.measure)}</span>" if finding.measure else ""
    hint = f"<p class=hint><b>What to do</b> {escape(_sentence(finding.hint))}</p>" if finding.hint else ""
    why = f"<p class=why>{escape(_sentence(why_of(finding)))}</p>" if why_of(finding) else ""
    return (
        f'<figure id="f{number}">{picture}<figcaption>'
        f'<p class=line><span class="{finding.severity}">{SIGNS[finding.severity]}</span>{measure}</p>'
        f"<h3>{escape(_begun(title_of(finding)))}</h3>{where}"
        f"<p>{escape(_sentence(finding.words))}</p>{hint}{why}</figcaption></figure>"
    )


def _noted(finding: Finding) -> str:
    where = plain(finding.where)
    words = _sentence(finding.words)
    return f"{words[:-1]} ({where})." if where and where not in finding.words else words


def _begun(words: str) -> str:
    return words[:1].upper() + words[1:]


def _sentence(words: str) -> str:
    return f"{_begun(words)}." if words else ""


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _summary(checked: Sequence[Checked]) -> str:
    every = [finding.severity for one in checked for finding in one.findings]
    recipes, shapes = (sum(one.kind == kind for one in checked) for kind in ("recipe", "shape"))
    ways, pairs = (sum(one.kind == kind for one in checked) for kind in ("sweep", "pair"))
    more = [_counted(ways, "pose") + " on the way"] * bool(ways) + [_counted(pairs, "pair")] * bool(pairs)
    beside = f", besides {' and '.join(more)} with findings of their own" if more else ""
    frames = sum(one.kind == "frame" for one in checked)
    if frames or not checked:
        what = f"{_counted(frames, 'frame')} at which something is at its worst" if frames else "Nothing was found"
        return f"{what}: {_counted(every.count('error'), 'error')}, {_counted(every.count('warning'), 'warning')}."
    whole = _counted(shapes, "shape") if shapes else _counted(recipes, "recipe")
    return (
        f"{whole} checked{beside}: {_counted(every.count('error'), 'error')}, "
        f"{_counted(every.count('warning'), 'warning')}."
    )


def _list(heading: str, names: Sequence[str]) -> str:
    if not names:
        return ""
    items = "".join(f"<li>{escape(name)}</li>" for name in names)
    return f"<section><h2>{heading}</h2><ul>{items}</ul></section>"


_NOTHING = '<tr><td colspan="5">Nothing was found.</td></tr>'
_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>
body{{margin:0 auto;max-width:1320px;padding:36px 32px;background:#f3f2ee;color:#18191c;
font:16px/1.5 system-ui,sans-serif}}
h1{{font-size:30px;margin:0}} h2{{font-size:22px;margin:0;overflow-wrap:anywhere}} h3{{font-size:17px;margin:2px 0 0}}
p{{margin:6px 0}} a{{color:inherit}}
table{{border-collapse:collapse;width:100%;margin:22px 0 12px}} th,td{{text-align:left;padding:7px 16px 7px 0;
border-bottom:1px solid #cfcdc6;vertical-align:top}} th{{font-weight:600;color:#3d4046}}
td:last-child,th:last-child{{white-space:nowrap;text-align:right;padding-right:0}}
.pose{{display:flex;gap:28px;margin-top:44px;padding-top:24px;border-top:2px solid #18191c;align-items:flex-start}}
.whole{{flex:0 0 360px;position:sticky;top:20px}} .whole img{{display:block;width:100%;height:auto;margin-top:12px}}
.kind{{color:#3d4046;margin:2px 0 0}}
.cards{{flex:1;display:grid;grid-template-columns:repeat(auto-fill,minmax(300px,1fr));gap:24px}}
figure{{margin:0;background:#fff;scroll-margin-top:16px}} figure:target{{outline:3px solid #18191c}}
figure img{{display:block;width:100%;height:auto}} figcaption{{padding:12px 16px 16px}}
.line{{display:flex;justify-content:space-between;align-items:baseline;margin:0}}
.much{{font-size:20px;font-weight:600}}
.where{{color:#3d4046}} .hint b{{display:block;font-size:14px}} .hint{{border-left:3px solid #18191c;padding-left:10px}}
.why{{color:#3d4046;font-size:14px}}
.error{{color:#a11212;font-weight:600;white-space:nowrap}} .warning{{color:#7a4b00;font-weight:600;
white-space:nowrap}} ul{{margin:8px 0 0;padding-left:20px}} section{{margin-top:36px}}
@media(max-width:820px){{.pose{{display:block}} .whole{{position:static;margin-bottom:20px}}}}
@media print{{body{{background:#fff;padding:0}} .whole{{position:static}} figure{{break-inside:avoid}}}}
</style></head><body>
<h1>{title}</h1>{top}<p>{summary}</p>
<table><thead><tr><th>How bad</th><th>Pose</th><th>Where</th><th>What</th><th>How much</th></tr></thead>
<tbody>{rows}</tbody></table>
{more}
{poses}
{clean}
{notes}
</body></html>
"""
