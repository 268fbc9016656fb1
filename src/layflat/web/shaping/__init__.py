"""Shaping kept patterns: drawings brought in, edges and places edited, starts from other cars."""
