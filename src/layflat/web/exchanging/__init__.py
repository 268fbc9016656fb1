"""Archives that shops give each other: given away, looked at, taken into the library."""
