"""Pages of covers: choosing, comparing, saving."""
