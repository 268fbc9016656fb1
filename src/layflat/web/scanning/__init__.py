"""The scan bench: a scan put upright, its floor cut, its panels traced."""
