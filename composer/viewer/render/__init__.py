"""The head on the graphics card: geometry in, a picture out. Knows no document and no panels."""
