"""What the pointer does on the head: each tool is a generator from press to release."""
