"""Pictures of the screens that the browser tests look over, for a person to look at as well.

    pytest tests/browser/test_story.py --screens FOLDER

writes them into `FOLDER`, in a folder for each test, numbered as they come. Without the option
nothing is written.
"""

import os
import re
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Page


class _Screens:
    """Where pictures go; None for nowhere."""

    folder: Path | None = None


def write_into(folder: Path | None) -> None:
    """From now on write pictures into *folder*; None writes none."""
    _Screens.folder = folder


def picture(page: Page) -> None:
    """Write the whole page as it is, if pictures are wanted."""
    if _Screens.folder is None:
        return
    test = os.environ["PYTEST_CURRENT_TEST"].rpartition("::")[2].partition(" (")[0]
    folder = _Screens.folder / _plain(test)
    folder.mkdir(parents=True, exist_ok=True)
    number = 1 + len(list(folder.glob("*.png")))
    dark = page.evaluate("() => matchMedia('(prefers-color-scheme: dark)').matches")
    place = _plain(urlsplit(page.url).path) or "board"
    size = page.viewport_size
    width = f"-{size['width']}" if size else ""
    name = f"{number:03d}-{place}{width}-{'dark' if dark else 'light'}.png"
    page.screenshot(path=folder / name, full_page=True)


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")[:80]
