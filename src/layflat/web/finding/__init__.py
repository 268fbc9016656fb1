"""One box that finds everything, and the cars that carry film from a lot."""
