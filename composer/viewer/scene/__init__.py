"""How the open document looks on the head: overlays, outlines, small pictures, the pose on the card."""
