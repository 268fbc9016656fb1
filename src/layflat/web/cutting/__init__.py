"""A job’s pieces laid out on stock, and cut section by section."""
