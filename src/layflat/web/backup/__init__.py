"""A running shop in one file, checked by hash, and from there into an empty folder again.

The names that others use are `back_up` in `saving` and `restore` in `restoring`.
"""
