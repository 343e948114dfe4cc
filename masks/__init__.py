"""Weights on a surface: distances, ramps, regions and how they share a face.

The package needs only numpy, scipy and `composer.geometry`. It knows no heads, files or screens.
"""
