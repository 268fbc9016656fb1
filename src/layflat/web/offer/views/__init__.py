"""Pages of this part."""
