"""The one error of this package."""

from __future__ import annotations


class MaskError(ValueError):
    """A mask, a mesh or a request about one that cannot be used; the message is one plain sentence."""
