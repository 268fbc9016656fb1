"""The calendar of bays, plotter and people."""
