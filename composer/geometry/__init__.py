"""The geometry kernel: meshes, distances, closest points, rigid fits. numpy and scipy only.

Nothing in this package knows heads, masks, files or screens.
"""
