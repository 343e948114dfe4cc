"""Weights on a surface: distances, ramps, regions and how they share a face.

Only numpy and scipy are needed here. Nothing in this package knows heads, files or screens.
"""
