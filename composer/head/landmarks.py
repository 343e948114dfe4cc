"""Landmarks: named points and curves of a face (`composer.head.places`) and their file (`landmark_file`)."""

from composer.head.landmark_file import read_landmark_pairs, read_landmarks, write_landmarks
from composer.head.places import Curve, Landmarks, Place, SurfacePoint, as_curve, resolve

__all__ = [
    "Curve",
    "Landmarks",
    "Place",
    "SurfacePoint",
    "as_curve",
    "read_landmark_pairs",
    "read_landmarks",
    "resolve",
    "write_landmarks",
]
