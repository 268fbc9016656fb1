"""Inspection by somebody else, and flags until they have ended."""
