"""The drill: power lost in the middle of a cut, and what the shop makes of it.

The plotter is a stand-in with its own reader of HP-GL (tests/send/stand_in.py), at the other end of
a socket: what lies on its film tells what is true, not what was sent.
"""

import uuid
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from layflat.web.cutting.film import film_of
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.pool import to_lay_out
from layflat.web.files.store import path_of
from layflat.web.handback.content import HANDED, build
from layflat.web.handback.facts import Given, facts_of
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import the_shop
from layflat.web.record.models import Event
from layflat.web.sending import running
from layflat.web.sending.models import Machine, Prepared, Sending
from layflat.web.stock.models import Movement, Roll
from layflat.web.taps.models import Tap
from send.programs import drawn
from send.stand_in import Plotter, SocketPlotter
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, to_be_cut
from web.cutting.test_ticks import tap
from web.sending.machined import a_machine, asked, done

SignedIn = Callable[[Role], Client]
State = Sending.State
LENGTH_MM = 9000


def ready(*pieces: str) -> tuple[Job, Section, Machine]:
    """A job whose layout of one section is to be cut, and a machine without an address yet."""
    job, _ = a_job("2031-0042", *pieces)
    section = only_section(to_be_cut(job, a_roll(length_mm=LENGTH_MM)))
    return job, section, a_machine()


def at(section: Section, rest: str = "") -> str:
    layout = section.layout
    return f"/jobs/{layout.job.number}/film/{layout.number}/{section.number}/machine/{rest}"


def post(browser: Client, section: Section, rest: str, **fields: Any) -> str:
    """Send a form, and read the page that it leads to."""
    answer = browser.post(at(section, rest), {"once": uuid.uuid4().hex, **fields}, follow=True)
    assert answer.status_code == 200
    text: str = answer.content.decode()
    return text


def program(section: Section) -> bytes:
    assert section.program is not None
    return path_of(section.program.sha256).read_bytes()


def way_to(data: bytes, stroke: int) -> float:
    """How far the head has gone when the middle of a lowering of the knife is reached."""
    plotter = Plotter(size=len(data) + 1)
    plotter.receive(data)
    while len(plotter.cuts) <= stroke:
        plotter.work(50.0)
    begun = plotter.way
    while len(plotter.cuts) == stroke + 1 and not plotter.is_idle:
        plotter.work(50.0)
    return (begun + plotter.way) / 2


def on_film(section: Section, plotter: Plotter) -> dict[int, str]:
    """What became of each piece, by its lines on the stand-in's film."""
    wanted, made = drawn(program(section)), plotter.cuts
    owners = Prepared.objects.get(section=section).made
    found: dict[int, str] = {}
    for cut in owners["cuts"]:
        if cut["piece"] is None:
            continue
        number = int(owners["pieces"][cut["piece"]].split(" ")[0])
        lines = wanted[cut["first"] : cut["last"]]
        whole = all(line in made for line in lines)
        begun = any(line[0] in {one[0] for one in made} for line in lines)
        state = "whole" if whole else "lost" if begun else "to cut"
        before = found.get(number, state)
        found[number] = state if state == before else "lost"
    return found


def power_lost(section: Section, machine: Machine, *, stroke: int) -> tuple[Sending, Plotter]:
    """Send a section to a plotter that loses its power, and with it the line."""
    plotter = Plotter(size=400)
    with SocketPlotter(plotter, rate=60, speed=200.0) as there:
        Machine.objects.filter(pk=machine.pk).update(address=there.address)
        plotter.power_lost_at = there.drop_at = way_to(program(section), stroke)
        return done(asked(section, machine)), plotter


def passport_of(job: Job) -> dict[str, Any]:
    """What the passport would say if all that is cut now were laid and the car given back."""
    film_of(job).filter(state=Cut.State.CUT).update(state=Cut.State.LAID)
    at = timezone.now()
    given = Given(name="Perrin Oake", signature="", on_paper_because="", by="Corin", at=at)
    facts = facts_of(job, given, shop=the_shop())
    film_of(job).filter(state=Cut.State.LAID).update(state=Cut.State.CUT)
    return build(facts, version=1, because=HANDED, dated=at.date())


def left(roll: Roll) -> int:
    roll.refresh_from_db()
    assert roll.left_mm == sum(roll.movements.values_list("delta_mm", flat=True))
    return roll.left_mm


@pytest.fixture
def noted(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, float]]:
    """The sections whose cutting time was handed on to be written down, and how long each took."""
    found: list[tuple[int, float]] = []

    def note(section: Section, *, since: datetime, until: datetime) -> None:
        found.append((section.pk, (until - since).total_seconds()))

    monkeypatch.setattr(running, "note_time", note)
    return found


def test_power_lost_in_the_middle(
    signed_in: SignedIn, people: dict[Role, Person], noted: list[tuple[int, float]]
) -> None:
    job, section, machine = ready("hood", "mirror-left", "door-left")
    roll = section.layout.roll
    strokes = len(drawn(program(section)))
    sending, plotter = power_lost(section, machine, stroke=strokes - 2)
    assert sending.state == State.BROKEN
    assert sending.sentence.startswith("Lost: ")
    assert "in doubt" in sending.sentence
    true = on_film(section, plotter)
    judged = {one["number"]: one["state"] for one in sending.judged["pieces"]}
    assert set(true.values()) == {"whole", "lost", "to cut"}
    for number, state in judged.items():
        # Never better than it is; where nobody can know it says so.
        assert state in (true[number], "doubtful"), (judged, true)
    # Nothing is booked, and nothing may be ticked or dropped away, before somebody has looked.
    assert left(roll) == LENGTH_MM
    ines = signed_in(Role.INSTALLER)
    page = ines.get(at(section)).content.decode()
    assert "What came of it" in page
    assert "The line was lost" in page
    assert "Look at every piece on the film first" in post(
        ines, section, "looked-at/", seen=1, **{"piece-1": "whole"}
    )
    seen = {f"piece-{n}": "whole" if state == "whole" else "lost" for n, state in true.items()}
    fields = {"seen": 1, "looked": "yes", "reason": "stop"}
    assert "Say of piece" in post(ines, section, "looked-at/", **fields)
    never = [one | {"state": "to cut"} for one in sending.judged["pieces"]]
    Sending.objects.update(judged=sending.judged | {"pieces": never})
    assert "cannot be whole" in post(ines, section, "looked-at/", **fields, **seen)
    Sending.objects.update(judged=sending.judged)
    assert left(roll) == LENGTH_MM
    film = page.split('name="film"')[1].split('value="')[1].split('"')[0]
    token = {"once": uuid.uuid4().hex}
    for _ in range(2):  # a wet glove taps twice
        answer = ines.post(at(section, "looked-at/"), {**fields, **seen, "film": film, **token})
        assert answer.status_code == 302
    section.refresh_from_db()
    assert section.state == Section.State.SPOILED
    assert 0 < int(film) <= section.film_mm
    assert left(roll) == LENGTH_MM - int(film)
    kinds = dict(Movement.objects.filter(job=job).values_list("kind", "delta_mm"))
    assert set(kinds) == {Movement.Kind.CUT, Movement.Kind.SPOILED}
    assert sum(kinds.values()) == -int(film)
    # A tick that is taken back gives all of its film back, both parts; then it is looked at anew.
    assert tap(job, "untick", people[Role.INSTALLER], section=section.pk).state == Tap.State.DONE
    assert left(roll) == LENGTH_MM
    assert "is spoiled" in post(ines, section, "looked-at/", **fields, **seen, film=film)
    assert left(roll) == LENGTH_MM - int(film)
    again = {piece.number for piece in to_lay_out(job)}
    assert again == {number for number, state in true.items() if state != "whole"}
    # What is lost is laid out anew and cut; every piece has film once, and the roll adds up.
    other = a_roll(length_mm=LENGTH_MM, lot="LW-8114")
    second = only_section(to_be_cut(job, other, *again))
    with SocketPlotter(Plotter(size=400), speed=1e6) as there:
        Machine.objects.filter(pk=machine.pk).update(address=there.address)
        sending = done(asked(second, machine))
        assert sending.state == State.DONE
        assert {one["state"] for one in sending.judged["pieces"]} == {"whole"}
        assert set(on_film(second, there.plotter).values()) == {"whole"}
    # What was sent in one go tells how long cutting takes, what broke off does not.
    ((key, took_s),) = noted
    assert key == second.pk
    assert took_s > 0
    Section.objects.filter(pk=second.pk).update(took_s=2.0 * second.seconds)
    for row, words in (
        (machine, "corrected by 1 section that"),
        (a_machine(name="Other"), "as the"),
    ):
        page = signed_in(Role.OWNER).get(f"/shop/machines/{row.pk}/").content.decode()
        assert f"Times are {words}" in page
    seen = {f"piece-{number}": "whole" for number in again}
    assert "is cut" in post(ines, second, "looked-at/", seen=1, looked="yes", **seen)
    assert to_lay_out(job) == []
    good = Cut.objects.filter(section__layout__job=job, state=Cut.State.CUT)
    assert sorted(good.values_list("number", flat=True)) == [1, 2, 3]
    assert left(roll) == LENGTH_MM - int(film)
    assert left(other) == LENGTH_MM - second.film_mm
    # The passport of the car tells which film lies where, and what was lost of which.
    passport = passport_of(job)
    assert {piece["number"]: piece["lot"] for piece in passport["pieces"]} == {
        number: other.lot if number in again else roll.lot for number in true
    }
    begun = {number for number, state in true.items() if state == "lost"}
    lost = {piece["number"]: (piece["lot"], piece["because"]) for piece in passport["lost"]}
    assert set(lost) >= begun
    assert {lot for lot, _ in lost.values()} == {roll.lot}
    assert all(because for _, because in lost.values())
    assert tap(job, "untick", people[Role.INSTALLER], section=second.pk).state == Tap.State.DONE
    assert left(other) == LENGTH_MM
    words = " ".join(Event.objects.filter(job=job).values_list("sentence", flat=True))
    assert "the line was lost" in words
    assert "Looked at after sending section 1 of layout 1" in words


def test_the_rest_is_sent_from_the_last_safe_point(
    signed_in: SignedIn, noted: list[tuple[int, float]]
) -> None:
    _, section, machine = ready("hood", "mirror-left", "door-left")
    roll = section.layout.roll
    strokes = len(drawn(program(section)))
    sending, first = power_lost(section, machine, stroke=strokes - 2)
    ines = signed_in(Role.INSTALLER)
    whole = sum(line in first.cuts for line in drawn(program(section)))
    page = ines.get(at(section)).content.decode()
    assert "Go on from the last safe point" in page
    assert "Clear the machine" in post(ines, section, "go-on/", seen=1, done=whole)
    assert "cuts can be whole, not 99" in post(
        ines, section, "go-on/", seen=1, done=99, cleared="yes"
    )
    with SocketPlotter(Plotter(size=400), speed=1e6) as there:
        Machine.objects.filter(pk=machine.pk).update(address=there.address)
        assert "has another address by now" in post(
            ines, section, "go-on/", seen=1, done=whole, cleared="yes"
        )
        Sending.objects.update(address=there.address)
        post(ines, section, "go-on/", seen=1, done=whole, cleared="yes")
        second = done(Sending.objects.get(number=2))
        rest = there.plotter.cuts
    assert second.state == State.DONE
    made = first.cuts + rest
    assert all(line in made for line in drawn(program(section)))
    assert {one["state"] for one in second.judged["pieces"]} == {"whole"}
    assert noted == []
    assert second.record is not None
    assert sending.record is not None
    assert left(roll) == LENGTH_MM


@pytest.mark.parametrize("is_begun", [False, True])
def test_a_worker_that_is_ended_sends_nothing_twice(is_begun: bool, db: None) -> None:
    """The computation is taken up again, as all are; the sending is not."""
    _, section, machine = ready()
    if is_begun:
        sending, _ = power_lost(section, machine, stroke=2)
        Sending.objects.update(state=State.SENDING, account=None, judged=None)
    else:
        sending = asked(section, machine)
        Sending.objects.update(state=State.SENDING)
    with SocketPlotter(Plotter()) as there:
        Machine.objects.filter(pk=machine.pk).update(address=there.address)
        Sending.objects.update(address=there.address)
        again = done(sending)
        assert there.connections == 0
    if is_begun:
        assert again.state == State.BROKEN
        assert "clear it by its own means" in again.sentence
        assert again.judged["pieces"]
    else:
        assert again.state == State.REFUSED
        assert "before anything was sent" in again.sentence


def test_a_machine_that_is_not_there_changes_nothing(signed_in: SignedIn) -> None:
    job, section, machine = ready()
    sending = done(asked(section, machine))
    assert sending.state == State.REFUSED
    assert "Is the machine on" in sending.sentence
    page = signed_in(Role.INSTALLER).get(at(section)).content.decode()
    assert "Not sent: " in page
    assert "Send section 1" in page
    assert not job.movements.exists()
    assert Layout.objects.get().state == Layout.State.KEPT
