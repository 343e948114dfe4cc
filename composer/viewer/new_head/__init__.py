"""A sculpt in another topology beside the library, and the jobs that bring the library onto it."""
