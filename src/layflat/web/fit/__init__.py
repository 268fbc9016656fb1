"""The fit of each piece: what laying it will ask of the film."""
