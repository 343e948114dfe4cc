"""Many heads, unattended: a job names heads and steps, and runs them, again only where something changed."""
