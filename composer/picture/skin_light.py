"""How skin and what is wet answer the light: the numbers that pictures and the window share.

Light enters skin and leaves it beside where it entered, red the furthest: over the border of light and shade it runs
on by `REACH`, a smooth minimum in place of the plain cosine's corner ("wrapped diffuse" light, Green, Real-Time
Approximations to Subsurface Scattering, GPU Gems, 2004, chapter 16; the form of the corner and the numbers are our
choice, by eye). Its oil mirrors the window in a broad lobe and in a narrow one (two lobes as in d'Eon and Luebke,
Advanced Techniques for Realistic Real-Time Skin Rendering, GPU Gems 3, 2007, chapter 14; strengths by eye), and its
edges the sky. What is covered by a colour that means something answers all channels alike.
"""

from __future__ import annotations

BLEED = (1.10, 0.83, 0.72)
"""The warm tint of hollows, where light has been through the skin."""
REACH = (0.42, 0.20, 0.13)
"""How far past the border of light, in cosines, each channel runs."""
SOAK = (0.40, -0.12, -0.24)
"""How much more, or less, of each channel reaches the half shade of a shadow's edge."""
SHADED = 0.35
"""Share of the light that runs on which a cast shadow leaves."""
WARM, WARM_SHADE = 0.72, 0.42
"""How far hollows, and how far cast shadows, take the tint of `BLEED`."""
BROAD, NARROW = 1.05, 0.85
"""Strength of the lobes of skin, whose exponents are 8 and 32, times its sheen."""
WET, WET_FROM = 1.9, 0.08
"""Strength of the lobe of wet places, whose exponent is 44, and the sheen from which on a place is one."""
VELVET = 0.16
"""How much of the sky the skin mirrors where it is seen along its edge."""
EVEN = 0.55
"""Share of the shading that a colour with a meaning takes away, so that it matches its legend."""
EVEN_LIGHT = 0.85
"""The light in place of it."""
INSIDE = (0.55, 0.42, 0.38)
"""What is left of a surface's colour where it is seen from behind."""
BACK_OPEN, BACK_LIT = 0.45, 0.15
"""How much of the sky and of the window the window's view takes the inside of a surface to see; pictures cast rays."""
EXPOSURE, SHOULDER = 1.06, 0.72
"""How the light is developed, and where the soft shoulder of highlights begins."""
SOFT_MM = 1.6
"""How far the edge of a cast shadow is softened on its way through the skin."""
