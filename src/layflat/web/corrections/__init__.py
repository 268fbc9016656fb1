"""Corrections: what fit notes of laid pieces made of a body's patterns."""
