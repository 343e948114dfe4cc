"""Moue: facial expressions mixed by region, checked, and baked as new targets."""

__version__ = "0.1.0"
