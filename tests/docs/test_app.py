"""What the guide says of the app, against the app's own templates and numbers."""

import re

import pytest
from django.conf import settings

import pages
from layflat.web.cover.estimate import MEASURED, ONE_PIECE, UNMEASURED
from layflat.web.links.private import DAYS
from layflat.web.offer.content import MOST_ALTERNATIVES
from layflat.web.people.models import Role
from layflat.web.people.views import _MAY

GUIDE = pages.GUIDE.read_text(encoding="utf-8")
PART = " ".join(GUIDE[GUIDE.index("## 15. The app") : GUIDE.index("## 16. ")].split())
WEB = pages.ROOT / "src" / "layflat" / "web"
NUMBERS = {2: "two", 4: "four", 10: "ten"}


def on_screen() -> str:
    """Everything that pages are made from."""
    found = [*WEB.glob("templates/*.html"), *WEB.glob("*/templates/**/*.html")]
    found += [path for path in WEB.rglob("*.py") if "migrations" not in path.parts]
    return "\n".join(path.read_text(encoding="utf-8") for path in sorted(found))


SCREEN = on_screen()


@pytest.mark.parametrize("words", sorted(set(re.findall(r"\*\*([^*]+)\*\*", PART)) - {"bold"}))
def test_every_word_in_bold_stands_on_a_screen(words: str) -> None:
    """As a whole text between tags, or a whole string of the code."""
    whole = rf"""[>"}}]\s*{re.escape(words)}\s*[<"{{]"""
    assert re.search(whole, SCREEN), f"no page says “{words}”"


def test_roles_are_those_of_the_app() -> None:
    rows = pages.tables(pages.GUIDE)["roles"]
    assert {row["role"]: row["is for"] for row in rows} == {role.label: _MAY[role] for role in Role}


def test_ranges_of_estimates_are_the_code_s() -> None:
    assert (ONE_PIECE.least, ONE_PIECE.most) == (0.98, 1.02)
    assert "a single piece within 2 %" in PART
    for spread in (MEASURED, UNMEASURED):
        assert f"from {spread.least:.2f} to {spread.most:.2f} times what is shown" in PART


def test_other_numbers_are_the_code_s() -> None:
    (least,) = (
        item["OPTIONS"]["min_length"]
        for item in settings.AUTH_PASSWORD_VALIDATORS
        if "min_length" in item.get("OPTIONS", {})
    )
    assert f"{NUMBERS[least]} characters or more" in PART
    assert f"up to {NUMBERS[MOST_ALTERNATIVES]}, add lines" in PART
    assert f"for {DAYS} days unless you say otherwise" in PART
