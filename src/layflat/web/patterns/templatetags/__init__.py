"""Filters for this part's templates."""
