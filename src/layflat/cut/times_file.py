"""How long sections took to cut, as a file."""

from pathlib import Path

from layflat.base import SettingError, read_settings

_MOST_S = 86_400.0


def read_times(path: Path) -> tuple[tuple[float, float], ...]:
    """The times in the TOML file at *path*: for each section the estimate and what it took.

    Returns:
        (estimated, real) seconds, as `time_ratio` takes them; at least one pair.

    Raises:
        SettingError: the file is not TOML, or a value is missing, unknown or absurd.
        InputError: the file cannot be read.
    """
    settings = read_settings(path)
    rows = settings.lists("sections_s", least=1.0, most=_MOST_S)
    settings.finish()
    if not rows or any(len(row) != 2 for row in rows):
        raise SettingError(
            f"{settings.where}: “sections_s” must have for each section its estimate and what it "
            "took, in seconds."
        )
    return tuple((row[0], row[1]) for row in rows)
