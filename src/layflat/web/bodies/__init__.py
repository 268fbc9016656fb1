"""The library of bodies and panels."""
