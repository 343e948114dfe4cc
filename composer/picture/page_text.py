"""Text in a page: signs of HTML escaped, and what cannot be seen written out."""

from __future__ import annotations

import html

from composer.errors import visible


def escape(words: str) -> str:
    """`words` as a page shows them, in text and in quoted attributes (HTML Living Standard, 13.1.2.3 and 13.1.4)."""
    return html.escape(visible(words))
