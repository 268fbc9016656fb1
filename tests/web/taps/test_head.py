"""What the head of a page with taps brings."""

import re
from importlib import resources

from django.template.loader import render_to_string

FOLDER = resources.files("layflat.web") / "static/layflat/taps"


def imported(name: str) -> set[str]:
    """The scripts that a script needs, and those that these need."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    needed = set(re.findall(r'from "\./([\w.]+)"', text))
    return needed.union(*(imported(one) for one in needed))


def test_every_script_is_asked_for_at_once() -> None:
    """Else each waits for the one that imports it, which is long on a slow network."""
    head = render_to_string("taps/head.html")
    asked = re.findall(r'rel="modulepreload" href="/static/layflat/taps/([\w.]+)"', head)
    assert sorted(asked) == sorted(imported("outbox.js"))


def test_a_script_holds_taps_before_the_others_come() -> None:
    head = render_to_string("taps/head.html")
    early, outbox = head.index("early.js"), head.index('outbox.js" type="module" id="taps-outbox"')
    assert early < head.index("modulepreload") < outbox
    # Neither deferred nor a module: it runs before there is a form.
    assert re.search(r'<script src="/static/layflat/taps/early\.js"></script>', head)
