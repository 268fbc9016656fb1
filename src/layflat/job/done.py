"""What a command hands back: its files, its report and a sentence."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from layflat.base import Report, SettingError


@dataclass(frozen=True, kw_only=True)
class Done:
    """A finished piece of work that is still to be written.

    Attributes:
        texts: the result as text by kind of file (".obj", ".dxf", …); one of them is written.
        report: what was computed, from what and how.
        sentence: the result for a person.
        lines: more of it, a line each.
    """

    texts: Mapping[str, str]
    report: Report
    sentence: str
    lines: tuple[str, ...] = field(default=())

    def text_for(self, path: Path) -> str:
        """The result in the form that the suffix of *path* says.

        Raises:
            SettingError: the suffix is not one of those that are had.
        """
        return self.texts[suffix_of(path, tuple(self.texts))]


def suffix_of(path: Path, known: tuple[str, ...]) -> str:
    """The suffix of *path*, one of *known*.

    Raises:
        SettingError: it is another.
    """
    suffix = path.suffix.lower()
    if suffix not in known:
        raise SettingError(
            f"{path} would have to be a {' or '.join(known)} file; name it so, please."
        )
    return suffix
