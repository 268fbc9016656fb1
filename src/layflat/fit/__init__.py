"""How film fits: laying it on a surface, fingers, wraps, and what to do where it does not fit."""
