"""Units that a person may name for a drawing that names none."""

UNITS_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": 25.4,
    "ft": 304.8,
    "px": 25.4 / 96.0,
    "pt": 25.4 / 72.0,
}
"""Millimetres per unit; px and pt as CSS has them."""
