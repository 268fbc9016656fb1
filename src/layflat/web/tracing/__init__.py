"""Templates by photograph: pictures of a traced sheet inside the printed frame become patterns."""
