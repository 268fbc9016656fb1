"""What every part stands on: errors, arrays, files, settings, progress and reports."""

from layflat.base.arrays import FloatArray, IntArray, frozen
from layflat.base.digest import digest
from layflat.base.errors import (
    CheckError,
    DrawingError,
    FitError,
    InputError,
    LayflatError,
    MeshError,
    OutputError,
    SettingError,
    StoppedError,
)
from layflat.base.files import (
    file_sha256,
    read_bytes,
    require_own_folder,
    require_writable,
    write_bytes,
    write_files,
    write_folder,
    write_text,
)
from layflat.base.kept import Kept
from layflat.base.progress import Progress, part_of, silent
from layflat.base.report import Report, report_json
from layflat.base.settings import Settings, read_settings
from layflat.base.words import counted

__all__ = [
    "CheckError",
    "DrawingError",
    "FitError",
    "FloatArray",
    "InputError",
    "IntArray",
    "Kept",
    "LayflatError",
    "MeshError",
    "OutputError",
    "Progress",
    "Report",
    "SettingError",
    "Settings",
    "StoppedError",
    "counted",
    "digest",
    "file_sha256",
    "frozen",
    "part_of",
    "read_bytes",
    "read_settings",
    "report_json",
    "require_own_folder",
    "require_writable",
    "silent",
    "write_bytes",
    "write_files",
    "write_folder",
    "write_text",
]
