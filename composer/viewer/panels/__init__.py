"""The panels of the window: each draws the stage and turns what the person does into edits. No algorithms here."""
