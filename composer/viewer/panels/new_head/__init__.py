"""The panels of a new head, by the questions of the person who fits it: where is it, does it sit, what is left."""
