"""What the track and the bench taught: logs fitted into inputs, and predictions held against logged runs."""
