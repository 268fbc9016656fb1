"""What the addresses of this part answer."""
