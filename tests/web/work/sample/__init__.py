"""An app with computations that do what real ones only do when things go wrong."""
