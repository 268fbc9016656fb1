"""The page of a job in the bay."""
