"""A cover's page in tests: its addresses, what it says, and its form's texts."""

import json
import re
from collections.abc import Callable
from typing import Any

from django.test import Client

from layflat.web.cover.choices import Choices, from_json
from layflat.web.cover.models import Cover
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from web.cover.domes import KEEP, LINE

Browser = Callable[[Role], Client]
Send = Callable[..., Any]
LINE_TEXT, KEEP_TEXT = json.dumps(LINE), json.dumps(KEEP)


def at(cover: Cover, what: str = "") -> str:
    return f"/jobs/{cover.job.number}/cover/{cover.number}/{what}"


def now(cover: Cover) -> Choices:
    cover.refresh_from_db()
    return from_json(cover.choices)


def said(answer: Any) -> str:
    """What the answer says of the change."""
    assert answer.status_code == 200, answer.status_code
    found = re.search(r'<div id="said".*?</div>', answer.content.decode(), re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", found[0] if found else "").split())


def figures(page: str) -> str:
    found = re.search(r'<dl class="figures".*?</dl>', page, re.DOTALL)
    assert found
    return " ".join(re.sub(r"<[^>]*>", " ", found[0]).split())


def last_event() -> Event:
    event = Event.objects.filter(kind="cover.changed").last()
    assert event is not None
    return event
