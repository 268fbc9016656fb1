"""Laying, piece by piece."""
