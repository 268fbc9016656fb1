"""Template filters of the board."""
