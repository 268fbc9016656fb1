"""Tags of laying."""
