"""The strip of recipes: their pictures and menus, the chosen one's settings, and what is tried with it."""
