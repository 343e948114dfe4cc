"""Pulling a point of the face: a few weights follow so that it arrives, the rest stays and nothing tears."""
