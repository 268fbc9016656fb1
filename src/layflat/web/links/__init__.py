"""Private links: how a customer opens what is theirs without an account."""
