"""Taps that did not go in are said in people's words, whatever part they are of."""

from collections.abc import Callable

from django.test import Client

from layflat.web.people.models import Person, Role
from layflat.web.taps import acts
from layflat.web.taps.models import Tap
from web.laying.shop import ready_to_lay, tap

Browser = Callable[[Role], Client]


def test_every_act_has_a_wish_of_people_for_its_title() -> None:
    verbs = [
        "Begin",
        "Do",
        "End",
        "Finish",
        "Give",
        "Keep",
        "Leave",
        "Note",
        "Put",
        "Rinse",
        "Say",
        "Stop",
        "Take",
        "Throw",
        "Tick",
    ]
    titles = [one.title for one in acts._ACTS.values()]
    assert titles
    for title in titles:
        assert title.split()[0] in verbs, title
        assert "`" not in title


def test_steps_and_pieces_stand_by_their_names_and_one_tap_settles(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    job, (hood, _) = ready_to_lay()
    ines = people[Role.INSTALLER]
    assert tap("gates.begin", ines, job, step="hand-back").state == "refused"
    assert tap("laying.ended", ines, job, cut=hood.pk, hard="the nose").state == "refused"
    browser = signed_in(Role.COUNTER)
    page = browser.get("/taps/").content.decode()
    for words in (
        "installer wanted to begin a step",
        "<dd>Handing back</dd>",
        "installer wanted to say that a piece is laid",
        f"<dt>Piece</dt><dd>{hood.number} {hood.piece.title}</dd>",
        "<dt>What was hard</dt><dd>the nose</dd>",
    ):
        assert words in page, words
    assert "hand-back</dd>" not in page
    first = Tap.objects.order_by("pk").first()
    assert first is not None
    browser.post(f"/taps/{first.pk}/settled/", {"once": "1" * 32, "short": "Done anew since"})
    first.refresh_from_db()
    assert first.settled_how == "Done anew since"
