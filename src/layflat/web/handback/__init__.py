"""Handing the car back, and the passport that goes with it."""
