"""What panels are drawn with: Dear ImGui on pyglet, the widgets, the look, the keys."""
