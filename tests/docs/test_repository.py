"""What must be true of the documents and of all files together."""

import re
import sys
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree

import pytest

import layflat
import pages

MOST_BYTES = 300_000
LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
PICTURES = pages.ROOT / "docs" / "pictures"
TEXT = {".py", ".md", ".toml", ".txt", ".in", ".typ", ".svg", ".json", ".yaml", ".cfg", ""}
# In two halves, so that this file does not hold what it looks for.
UNWANTED = [
    "/" + place + "/" for place in ("work", "root", "tmp", "home")
] + [name + end for name, end in (("pypi", ".org"), ("pythonhosted", ".org"), ("npmjs", ".org"),
      ("npmjs", ".com"), ("index", "-url"), ("conda", ".anaconda"))]  # fmt: skip


def anchors(page: Path) -> set[str]:
    """The places of a page that a link can name, as GitHub makes them from its headings."""
    headings = re.findall(r"^#+ (.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    words = [re.sub(r"[^\w\s-]", "", heading.lower()) for heading in headings]
    return {word.strip().replace(" ", "-") for word in words}


@pytest.mark.parametrize("page", pages.PAGES, ids=lambda page: page.name)
def test_every_link_leads_somewhere(page: Path) -> None:
    for target in LINK.findall(page.read_text(encoding="utf-8")):
        assert "://" not in target, f"{target}: the documents stand by themselves"
        name, _, anchor = unquote(target).partition("#")
        place = page.parent / name if name else page
        assert place.exists(), target
        if anchor:
            assert anchor in anchors(place), target


def test_every_picture_is_small_sound_and_used() -> None:
    used = {
        (page.parent / target).resolve()
        for page in pages.PAGES
        for target in LINK.findall(page.read_text(encoding="utf-8"))
        if target.endswith(".svg")
    }
    assert used == set(PICTURES.iterdir())
    for path in used:
        assert path.stat().st_size < MOST_BYTES, path.name
        assert ElementTree.parse(path).getroot().tag.endswith("svg")


def test_pictures_are_drawn_the_same_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(pages.ROOT / "docs"))
    from figures.knife import knife_picture
    from figures.offset import offset_picture

    for draw in (knife_picture, offset_picture):
        assert draw() == draw()
    for module in [name for name in sys.modules if name.startswith("figures")]:
        del sys.modules[module]


def test_the_picture_script_draws_what_is_stored() -> None:
    script = (pages.ROOT / "docs" / "pictures.py").read_text(encoding="utf-8")
    named = set(re.findall(r'^    "([\w-]+)": ', script, re.MULTILINE))
    assert named == {path.stem for path in PICTURES.iterdir()}


def tracked() -> list[Path]:
    folders = ("src", "tests", "docs", "bench", "requirements", ".ci")
    inside = [path for folder in folders for path in (pages.ROOT / folder).rglob("*")]
    names = ("README.md", "CHANGELOG.md", "Makefile", "pyproject.toml", ".pre-commit-config.yaml")
    inside = [path for path in inside if "node_modules" not in path.parts]
    files = [*inside, *(pages.ROOT / name for name in names)]
    return [path for path in files if path.is_file() and path.suffix in TEXT]


def test_no_file_names_a_registry_or_a_place_on_one_machine() -> None:
    found = [
        f"{path.relative_to(pages.ROOT)}: {word}"
        for path in tracked()
        for word in UNWANTED
        if word in path.read_text(encoding="utf-8", errors="replace")
    ]
    assert found == []


def test_the_changelog_knows_this_version() -> None:
    text = (pages.ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    newest = re.search(r"^## (\S+)", text, re.MULTILINE)
    assert newest is not None
    assert newest[1] == layflat.__version__
