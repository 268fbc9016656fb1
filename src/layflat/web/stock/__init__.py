"""Rolls and offcuts: what is left, what is reserved, and every movement."""
