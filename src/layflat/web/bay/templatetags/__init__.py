"""Tags of the page in the bay."""
