"""What templates of this part use."""
