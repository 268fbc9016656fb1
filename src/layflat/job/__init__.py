"""One job from cover to papers."""
