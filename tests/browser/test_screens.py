"""Pictures for people are written when they are wanted, and else not."""

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from browser import screens


class Shown:
    """What is asked of a page."""

    url = "http://127.0.0.1:1/jobs/2076-0001/cover/"

    def __init__(self) -> None:
        self.viewport_size = {"width": 390, "height": 844}

    def evaluate(self, _: str) -> bool:
        return True

    def screenshot(self, *, path: Path, full_page: bool) -> None:
        path.write_bytes(b"all of it" if full_page else b"a part")


@pytest.fixture(autouse=True)
def as_before() -> Iterator[None]:
    before = screens._Screens.folder
    yield
    screens.write_into(before)


def test_screens_are_numbered_as_they_come(tmp_path: Path) -> None:
    page: Any = Shown()
    screens.write_into(None)
    screens.picture(page)
    assert list(tmp_path.iterdir()) == []
    screens.write_into(tmp_path / "new")
    screens.picture(page)
    screens.picture(page)
    (folder,) = (tmp_path / "new").iterdir()
    assert folder.name == "test-screens-are-numbered-as-they-come"
    written = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert written == {
        f"00{number}-jobs-2076-0001-cover-390-dark.png": b"all of it" for number in (1, 2)
    }


class Tracing:
    """Of one person's browser."""

    def __init__(self) -> None:
        self.steps: list[str] = []

    def start(self, *, snapshots: bool) -> None:
        self.steps.append(f"start {snapshots}")

    def stop(self, *, path: Path) -> None:
        self.steps.append(f"stop {path.parent.name}/{path.name}")


def test_what_browsers_do_is_kept_also_when_a_story_fails(tmp_path: Path) -> None:
    page: Any = Shown()
    page.context = SimpleNamespace(tracing=Tracing())
    screens.write_into(None)
    with screens.traced({"owner": page}):
        pass
    assert page.context.tracing.steps == []
    screens.write_into(tmp_path)
    with pytest.raises(ZeroDivisionError), screens.traced({"owner": page}):
        raise ZeroDivisionError
    own = "test-what-browsers-do-is-kept-also-when-a-story-fails"
    assert page.context.tracing.steps == ["start True", f"stop {own}/owner.zip"]
