"""The names of the measures, in the order of the job; each is a module of this package."""

MEASURES = (
    "help_start", "obj_read", "obj_write", "regions_landmarks", "regions_moving", "heat_distance", "brush_step",
    "mixing_all_cells", "mixing_one_cell", "contact_step", "seamless", "match", "match_frames", "pull",
    "levels_build", "levels_apply", "order", "stabilise", "checks_one_pose", "fit", "fit_like", "refit", "carry",
    "carry_real", "open_real", "sheet", "demo_tour",
)  # fmt: skip
