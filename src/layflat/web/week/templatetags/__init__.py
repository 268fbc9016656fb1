"""Filters of this part."""
