"""Words and shapes for computations."""
