"""The board: every open job by where it stands."""
