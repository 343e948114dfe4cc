"""A sculpt in another topology beside the library, and the jobs that fit the library onto it."""
