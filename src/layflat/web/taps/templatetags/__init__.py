"""Tags for forms that are tapped."""
