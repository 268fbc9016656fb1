"""Tags of this part."""
