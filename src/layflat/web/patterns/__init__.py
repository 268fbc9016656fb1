"""Patterns that the shop keeps for a body: from templates, drawings, other cars and archives."""
