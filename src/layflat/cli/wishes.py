"""What may be wished of a cut program, as options of the commands that make one."""

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import click

if TYPE_CHECKING:
    from layflat.cut import Wishes

_Command = TypeVar("_Command", bound=Callable[..., None])

_OPTIONS = (
    click.option(
        "--first",
        multiple=True,
        metavar="PIECE",
        help="A piece to be cut before the others; may be given several times, in this order.",
    ),
    click.option(
        "--strips",
        type=float,
        help="Cut weed lines across the waste, so that it comes off in strips about so wide, in "
        "mm.",
    ),
    click.option(
        "--tabs",
        type=int,
        default=0,
        help="Leave so many short bridges in each outline, which hold the piece until a hand "
        "tears them.",
    ),
    click.option(
        "--tab-mm", type=float, default=1.0, show_default=True, help="How long each tab is."
    ),
    click.option(
        "--hinge",
        "hinge_mm",
        type=float,
        help="Leave one stretch of each outline uncut, so long, in mm, in place of tabs.",
    ),
)


def wish_options(command: _Command) -> _Command:
    """The options, for a command that takes what `wishes_of` does."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def wishes_of(
    first: tuple[str, ...],
    strips: float | None,
    tabs: int,
    tab_mm: float,
    hinge_mm: float | None,
) -> "Wishes":
    """The wishes that the options say.

    Raises:
        SettingError: one is out of its range.
    """
    from layflat.cut import Wishes

    return Wishes(first=first, strip_mm=strips, tabs=tabs, tab_mm=tab_mm, hinge_mm=hinge_mm)
