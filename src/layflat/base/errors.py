"""The one family of errors that a user can cause.

Each message is one sentence or two: what was wrong, where, and what to do. The command
line prints it as it is and ends with ``exit_code``.

    LayflatError
    ├── InputError          what was handed in is wrong                     exit 2
    │   ├── MeshError       a surface
    │   ├── DrawingError    a drawing
    │   ├── SettingError    a film, machine or job file, or an option
    │   └── FitError        a piece cannot go where it was asked to go
    ├── OutputError         a result could not be written                   exit 2
    ├── CheckError          our own independent check refused a result      exit 3
    └── StoppedError        a person stopped the work                       exit 130
"""


class LayflatError(Exception):
    """Base of every error that Layflat raises for a reason a user can act on.

    Attributes:
        panel: name of the panel whose piece could not be made, or "".
    """

    exit_code = 2
    panel = ""


class InputError(LayflatError, ValueError):
    """Something handed in cannot be used."""


class MeshError(InputError):
    """A surface cannot be used as it is."""


class DrawingError(InputError):
    """A drawing cannot be used as it is."""


class SettingError(InputError):
    """A film, machine or job file, or an option, has a missing or impossible value."""


class FitError(InputError):
    """A piece cannot go where it was asked to go; the message says by how much."""


class OutputError(LayflatError):
    """A result could not be written; nothing was left half-written."""


class CheckError(LayflatError):
    """A result failed the independent check that guards it, and was not handed out."""

    exit_code = 3


class StoppedError(LayflatError):
    """The work was stopped by a person."""

    exit_code = 130
