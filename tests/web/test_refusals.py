"""Pages for what cannot be done: in plain words, in the look, with nothing leaked."""

from collections.abc import Callable

import pytest
from django.core.exceptions import SuspiciousOperation
from django.test import Client

from layflat.web.people.models import Role


def test_an_address_with_nothing_at_it(signed_in: Callable[[Role], Client]) -> None:
    answer = signed_in(Role.COUNTER).get("/no/such/thing/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.content.decode()
    assert "no/such/thing" not in answer.content.decode()


def test_a_page_of_somebody_else_s_work(signed_in: Callable[[Role], Client]) -> None:
    answer = signed_in(Role.INSTALLER).get("/shop/")
    assert answer.status_code == 403
    assert "You are signed in as installer (installer)" in answer.content.decode()


def test_a_form_without_its_token(signed_in: Callable[[Role], Client]) -> None:
    browser = signed_in(Role.OWNER)
    browser.handler.enforce_csrf_checks = True
    answer = browser.post("/shop/", {"form": "shop"})
    assert answer.status_code == 403
    assert "open for too long" in answer.content.decode()


@pytest.mark.parametrize(
    ("fault", "status", "words"),
    [
        (SuspiciousOperation("a forged field"), 400, "was not understood"),
        (RuntimeError("the secret of the yard"), 500, "Something went wrong on our side"),
    ],
)
def test_a_fault_within(
    signed_in: Callable[[Role], Client],
    monkeypatch: pytest.MonkeyPatch,
    fault: Exception,
    status: int,
    words: str,
) -> None:
    def fail(*_args: object, **_options: object) -> None:
        raise fault

    monkeypatch.setattr("layflat.web.board.views.open_cards", fail)
    browser = signed_in(Role.OWNER)
    browser.raise_request_exception = False
    answer = browser.get("/")
    assert answer.status_code == status
    page = answer.content.decode()
    assert words in page
    assert str(fault) not in page
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
