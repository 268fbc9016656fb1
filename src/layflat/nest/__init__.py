"""Stock and layouts: pieces on a roll, in sections."""

from layflat.nest.layout import Layout, Placement, Request, Section, Stock

__all__ = ["Layout", "Placement", "Request", "Section", "Stock"]
