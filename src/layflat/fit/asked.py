"""What every search for cuts asks of its caller, and how dear a cut in full sight is."""

from layflat.base import InputError, SettingError
from layflat.film import Flat
from layflat.surface import Region

AVERSION = 5.0
"""A cut in full sight is as dear as a hidden one so many times as long. Common practice, no source:
installers would rather make a long cut that nobody sees."""

_LEAST, _MOST = 1.0, 1000.0


def require_asked(region: Region, flat: Flat, aversion: float, *, what: str) -> None:
    """Refuse what no search can work with.

    Args:
        region: the panel.
        flat: its flat shape.
        aversion: how much dearer one of *what* is in full sight than hidden.
        what: "cuts" or "seams".

    Raises:
        SettingError: *aversion* is out of range.
        InputError: *flat* is not of *region*.
    """
    if not _LEAST <= aversion <= _MOST:
        raise SettingError(
            f"The aversion to {what} in sight is {aversion:g}; it must lie between {_LEAST:g} and "
            f"{_MOST:g}."
        )
    if len(flat.points_mm) != len(region.mesh.vertices_mm):
        raise InputError("The flat shape and the region do not belong to each other.")
