"""Layflat: film pieces that fit, from a scanned body to a signed-off job."""

__version__ = "0.1.0"
