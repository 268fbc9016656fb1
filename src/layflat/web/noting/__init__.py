"""Fit notes: what was seen on laid pieces, and the corrections that come of them."""
