"""Who may send what when: two senders, what a section that is being cut refuses, pause and stop."""

import uuid
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from layflat.base import InputError, silent
from layflat.cut import machine_toml
from layflat.send import Ask
from layflat.web.cutting import keeping
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.sending import asking, running
from layflat.web.sending.models import Machine, Prepared, Sending
from layflat.web.sending.prepared import TASK
from layflat.web.sending.values import checked, read_values
from layflat.web.taps.models import Tap
from layflat.web.work.models import Computation
from layflat.web.work.models import State as Work
from layflat.web.work.tasks import find
from send.stand_in import Plotter, SocketPlotter
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, to_be_cut
from web.cutting.test_ticks import tap
from web.sending.machined import a_machine, asked, done
from web.sending.test_drill import at, post, ready

SignedIn = Callable[[Role], Client]
People = dict[Role, Person]
State = Sending.State
MOST_QUERIES = 12


def test_the_second_is_told_who_and_since_when(signed_in: SignedIn, people: People) -> None:
    job, section, machine = ready()
    other = a_machine(name="Short table")
    fields = {"machine": machine.pk, "ready": "yes"}
    ines = signed_in(Role.INSTALLER)
    assert "Look first" in post(ines, section, "begin/", machine=machine.pk)
    token = {"once": uuid.uuid4().hex}
    for _ in range(2):  # a wet glove taps twice
        assert ines.post(at(section, "begin/"), {**fields, **token}).status_code == 302
    sending = Sending.objects.get()
    assert Computation.objects.filter(task=asking.TASK).count() == 1
    since = "by installer since "
    said = post(signed_in(Role.OWNER), section, "begin/", machine=other.pk, ready="yes")
    assert f"is being cut on Long table, {since}" in said
    # Another section waits for the machine, and is told as well.
    section.pk, section.number, section._state.adding = None, 2, True
    section.save()
    said = post(signed_in(Role.OWNER), section, "begin/", **fields)
    assert f"Long table is cutting section 1 of layout 1 of job 2031-0042, {since}" in said
    assert Sending.objects.get() == sending
    # Nobody ticks, drops or changes what is being cut.
    first = sending.section
    refused = tap(job, "section-cut", people[Role.INSTALLER], section=first.pk)
    assert refused.state == Tap.State.REFUSED
    assert since in refused.says
    with transaction.atomic(), pytest.raises(InputError, match=since):
        keeping.drop(Layout.objects.get(), who=None)
    assert Cut.objects.count() == 2
    odile = signed_in(Role.OWNER)
    said = odile.post(
        f"/shop/machines/{machine.pk}/put-away/",
        {"once": uuid.uuid4().hex, "retired": "yes"},
        follow=True,
    )
    assert "put it away once that has ended" in said.content.decode()
    # Even where two get past the questions at once the database holds one.
    sending.pk, sending.number, sending._state.adding = None, 7, True
    with pytest.raises(IntegrityError), transaction.atomic():
        sending.save()


def test_called_off_before_it_began(signed_in: SignedIn) -> None:
    _, section, machine = ready()
    sending = asked(section, machine)
    ines = signed_in(Role.INSTALLER)
    assert "Getting ready" in ines.get(at(section)).content.decode()
    assert "It was called off before it began" in post(ines, section, "wish/", wish="stop")
    assert done(sending).state == State.REFUSED
    assert "Nothing is being sent" in post(ines, section, "wish/", wish="pause")
    assert "Send section 1" in ines.get(at(section)).content.decode()


def test_pause_go_on_and_stop_reach_the_machine(
    monkeypatch: pytest.MonkeyPatch, signed_in: SignedIn
) -> None:
    """What a person asks on the page is what the sending is asked; then it halts between cuts."""
    _, section, machine = ready()
    sending = asked(section, machine)
    monkeypatch.setattr(running, "_LOOK_S", 0.0)
    ines = signed_in(Role.INSTALLER)
    watch = running._Watch(sending, silent)
    assert watch.asks() is None
    Sending.objects.update(state=State.SENDING)
    for words, wished in (("pause", Ask.PAUSE), ("go on", Ask.GO_ON)):
        post(ines, section, "wish/", wish=words)
        assert watch.asks() is wished
        assert watch.asks() is None
    assert "Open the page anew" in post(ines, section, "wish/", wish="explode")
    # Stopping it among the computations asks the same, and ends no worker in the middle of a cut.
    stop = reverse("work:stop", args=[sending.computation_id])
    assert "stops before the next cut" in ines.post(stop, follow=True).content.decode()
    assert watch.asks() is Ask.STOP
    assert not Computation.objects.get(pk=sending.computation_id).stop_asked
    assert "was asked to stop before the next cut" in Event.objects.latest("pk").sentence
    post(ines, section, "wish/", wish="at once")
    assert watch.asks() is Ask.AT_ONCE
    Sending.objects.update(state=State.STOPPED)
    there = {"HX-Request": "true"}
    assert "ended meanwhile" in ines.post(stop, headers=there).content.decode()
    Sending.objects.update(state=State.ASKED, wish="", wish_number=0)
    monkeypatch.setattr(running._Watch, "asks", lambda _: Ask.STOP)
    with SocketPlotter(Plotter(size=400), speed=1e6) as there:
        Sending.objects.update(address=there.address)
        stopped = done(sending)
        there.wait(lambda: there.plotter.is_idle)
        whole = len(there.plotter.cuts)
    assert stopped.state == State.STOPPED
    assert stopped.account["whole"] <= whole <= stopped.account["begun"]
    page = ines.get(at(section)).content.decode()
    assert "Stopped between two cuts" in page
    assert "Next: " in page
    assert "The machine was cleared" not in page


def test_a_worker_that_was_ended_for_good_is_asked_after(signed_in: SignedIn) -> None:
    _, section, machine = ready()
    sending = asked(section, machine)
    ines = signed_in(Role.INSTALLER)
    assert "It goes on, or has ended" in post(ines, section, "find-out/")
    Sending.objects.update(state=State.SENDING)
    Computation.objects.filter(pk=sending.computation_id).update(
        state=Work.STOPPED, ended_at=sending.asked_at
    )
    assert "Find out what was cut" in ines.get(at(section)).content.decode()
    post(ines, section, "find-out/")
    assert Computation.objects.get(pk=sending.computation_id).state == Work.OPEN
    assert done(sending).state == State.REFUSED


def test_what_waited_too_long_begins_no_more(signed_in: SignedIn) -> None:
    """Nobody stands at the machine any more, hours after a server was stopped."""
    _, section, machine = ready()
    sending = asked(section, machine)
    with SocketPlotter(Plotter()) as there:
        Sending.objects.update(address=there.address)
        Sending.objects.update(asked_at=sending.asked_at - timedelta(hours=2))
        late = done(sending)
        assert there.connections == 0
    assert late.state == State.REFUSED
    assert "waited too long" in late.sentence
    # Nor does one whose computation was stopped before it began, whatever is asked of it.
    second = asked(section, machine)
    Computation.objects.filter(pk=second.computation_id).update(
        state=Work.STOPPED, ended_at=second.asked_at
    )
    said = post(signed_in(Role.INSTALLER), section, "find-out/")
    assert "Its worker was ended before it began" in said
    assert done(second).state == State.REFUSED
    assert Computation.objects.get(pk=second.computation_id).state == Work.STOPPED


def test_a_program_for_another_knife_is_not_sent(signed_in: SignedIn) -> None:
    _, section, machine = ready()
    other = checked(read_values(machine.values), scale_x=1.003)
    Machine.objects.update(values=machine_toml(other))
    ines = signed_in(Role.INSTALLER)
    page = ines.get(at(section)).content.decode()
    assert "have them made for your machine below" in page
    assert "Send section 1" not in page
    said = post(ines, section, "begin/", machine=machine.pk, ready="yes")
    assert "another knife or calibration than Long table" in said
    assert not Sending.objects.exists()


def test_without_a_machine_the_file_remains(signed_in: SignedIn) -> None:
    _, section, machine = ready()
    Machine.objects.update(address="")
    ines = signed_in(Role.INSTALLER)
    page = ines.get(at(section)).content.decode()
    assert "No machine has an address" in page
    assert "Program (HP-GL)" in page
    said = post(ines, section, "begin/", machine=machine.pk, ready="yes")
    assert "Long table has no address" in said


def test_the_counter_watches_and_changes_nothing(signed_in: SignedIn) -> None:
    _, section, machine = ready()
    asked(section, machine)
    before = Event.objects.count()
    corin = signed_in(Role.COUNTER)
    page = corin.get(at(section)).content.decode()
    assert "Being cut" in page
    assert "Pause before the next cut" not in page
    for rest in "begin", "go-on", "wish", "find-out", "looked-at", "prepare", "read", "correct":
        assert corin.post(at(section, f"{rest}/"), {"wish": "stop"}).status_code == 403
        answer = Client().post(at(section, f"{rest}/"), {"wish": "stop"})
        assert answer["Location"].startswith("/sign-in/")
    assert Event.objects.count() == before
    assert Sending.objects.get().state == State.ASKED


def test_pages_ask_little_and_the_part_asks_for_the_page_when_it_ends(
    signed_in: SignedIn, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    _, section, machine = ready()
    asked(section, machine)
    ines = signed_in(Role.INSTALLER)
    with django_assert_max_num_queries(MOST_QUERIES):
        ines.get(at(section))
    with django_assert_max_num_queries(8):
        answer = ines.get(at(section, "live/?seen=1"))
    assert "Getting ready" in answer.content.decode()
    Sending.objects.update(state=State.BROKEN)
    answer = ines.get(at(section, "live/?seen=1"))
    assert answer.status_code == 204
    assert answer.headers["HX-Refresh"] == "true"


@pytest.mark.django_db
@pytest.mark.parametrize("count", [1, 2])
def test_a_shops_only_machine_gets_its_programs_when_a_layout_is_kept(count: int) -> None:
    """Nobody has to ask for what there is no choice in; with two machines somebody chooses."""
    for i in range(count):
        a_machine(name=f"Table {i}", scale_x=1.002)
    job, _ = a_job("2040-0077", "hood")
    section = only_section(to_be_cut(job, a_roll(length_mm=9000)))
    asked_for = Computation.objects.filter(task=TASK)
    assert asked_for.count() == (count == 1)
    if count == 1:
        find(TASK).run(asked_for.get().inputs, silent)
        made = Prepared.objects.get(section=section)
        assert read_values(made.machine).scale_x == 1.002
        with transaction.atomic():
            fresh = Section.objects.select_related("layout__job", "program").get(pk=section.pk)
            begun = asking.begin(
                fresh, Machine.objects.get().pk, is_anew=False, is_ready=True, who=None
            )
        assert begun.state == State.ASKED
