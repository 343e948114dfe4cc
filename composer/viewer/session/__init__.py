"""What is open and how it stands, without a window: document, edits, eye, jobs, copies."""
