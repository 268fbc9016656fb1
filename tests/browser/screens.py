"""Pictures of the screens that the browser tests look over, for a person to look at as well.

    pytest tests/browser/test_story.py --screens FOLDER

writes them into `FOLDER`, in a folder for each test, numbered as they come; a story of several
people also leaves what each of their browsers did, for Playwright's trace viewer. Without the
option nothing is written.
"""

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
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
    folder = _folder_in(_Screens.folder)
    number = 1 + len(list(folder.glob("*.png")))
    dark = page.evaluate("() => matchMedia('(prefers-color-scheme: dark)').matches")
    place = _plain(urlsplit(page.url).path) or "board"
    size = page.viewport_size
    width = f"-{size['width']}" if size else ""
    name = f"{number:03d}-{place}{width}-{'dark' if dark else 'light'}.png"
    page.screenshot(path=folder / name, full_page=True)


@contextmanager
def traced(people: Mapping[str, Page]) -> Iterator[None]:
    """Keep what each person's browser does meanwhile, if pictures are wanted."""
    within = _Screens.folder
    if within is None:
        yield
        return
    for page in people.values():
        page.context.tracing.start(snapshots=True)
    try:
        yield
    finally:
        for name, page in people.items():
            page.context.tracing.stop(path=_folder_in(within) / f"{name}.zip")


def _folder_in(folder: Path) -> Path:
    test = os.environ["PYTEST_CURRENT_TEST"].rpartition("::")[2].partition(" (")[0]
    own = folder / _plain(test)
    own.mkdir(parents=True, exist_ok=True)
    return own


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")[:80]
