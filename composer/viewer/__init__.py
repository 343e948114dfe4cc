"""The window: the head, the tray, the board. The only package that imports pyglet or imgui_bundle."""
