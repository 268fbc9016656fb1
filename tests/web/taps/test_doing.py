"""Each tap is done exactly once, or refused and nothing else is changed."""

import threading
from collections.abc import Callable

import pytest
from django.db import OperationalError, connection, connections

from layflat.base import InputError, OutputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.taps import acts
from layflat.web.taps.acts import Call
from layflat.web.taps.doing import do
from layflat.web.taps.models import Tap
from web.taps.conftest import KEY, Done, key

People = dict[Role, Person]


def wrote() -> list[str]:
    return list(Event.objects.filter(kind="sample.wrote").values_list("sentence", flat=True))


def write(people: People, text: str, *, tap: str = KEY, number: str = "2031-0042") -> Tap:
    fields = {"text": text}
    return do("sample.write", key=tap, who=people[Role.INSTALLER], job=number, fields=fields)


def test_a_tap_that_is_sent_again_finds_the_first_answer(
    people: People, job: Job, done: Done
) -> None:
    first = write(people, "once")
    assert (first.state, first.says) == ("done", "Wrote “once”.")
    again = write(people, "another text under the same key")
    assert again == first
    assert again.says == first.says
    assert wrote() == ["once"]
    assert len(done.calls) == Tap.objects.count() == 1
    call = done.calls[0]
    assert (call.job, call.who, call.key) == (job, people[Role.INSTALLER], KEY)


def patiently(send: Callable[[], Tap]) -> Tap:
    """In memory, as tests have it, SQLite refuses at once where a file would wait."""
    while True:
        try:
            return send()
        except OperationalError as error:
            if "locked" not in str(error):
                raise


@pytest.mark.django_db(transaction=True)
def test_two_at_once_do_it_once_and_both_get_its_answer(
    people: People, job: Job, done: Done
) -> None:
    both = threading.Barrier(2, timeout=120)
    answers: list[tuple[str, str]] = []

    def send(text: str) -> None:
        both.wait()
        try:
            row = patiently(lambda: write(people, text))
            answers.append((row.state, row.says))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=send, args=(text,)) for text in ("left", "right")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert len(answers) == 2
    assert answers[0] == answers[1]
    assert len(wrote()) == Tap.objects.count() == 1
    assert answers[0][1] == f"Wrote “{wrote()[0]}”."


def test_a_refused_act_leaves_its_tap_and_an_event_and_nothing_else(
    people: People, job: Job, done: Done
) -> None:
    row = write(people, "refuse")
    assert (row.state, row.says) == ("refused", "Piece 3 is laid already.")
    assert row.job == job
    assert row.fields == {"text": "refuse"}
    assert wrote() == []
    event = Event.objects.get()
    assert (event.kind, event.job) == ("taps.refused", job)
    assert event.sentence == "Did not go in: Write something down. Piece 3 is laid already."
    assert write(people, "again").says == row.says
    assert Event.objects.count() == 1


@pytest.mark.parametrize(("text", "raised"), [("fault", ZeroDivisionError), ("full", OutputError)])
def test_a_fault_is_no_refusal_and_the_tap_may_be_sent_again(
    people: People, job: Job, done: Done, text: str, raised: type[Exception]
) -> None:
    with pytest.raises(raised):
        write(people, text)
    assert not Tap.objects.exists()
    assert not Event.objects.exists()
    assert write(people, "mended").state == "done"
    assert wrote() == ["mended"]


@pytest.mark.parametrize("name", ["sample.nothing", "", "x" * 300])
def test_unknown_acts_are_refused(people: People, job: Job, done: Done, name: str) -> None:
    row = do(name, key=KEY, who=people[Role.OWNER], job=job.number)
    assert row.state == "refused"
    assert "open the page anew" in row.says


@pytest.mark.parametrize(
    ("number", "says"),
    [("", "does not say which job"), ("2031-9999", "There is no job 2031-9999.")],
)
def test_an_act_about_a_job_needs_one(
    people: People, job: Job, done: Done, number: str, says: str
) -> None:
    row = write(people, "lost", number=number)
    assert row.state == "refused"
    assert says in row.says
    assert not done.calls


@pytest.mark.parametrize("role", Role)
def test_roles_are_checked_with_each_act(people: People, job: Job, done: Done, role: Role) -> None:
    written = do("sample.write", key=key(1), who=people[role], job=job.number)
    said = do("sample.free", key=key(2), who=people[role])
    assert (written.state == "done") == (role != Role.COUNTER)
    assert (said.state == "done") == (role != Role.INSTALLER)
    if role == Role.COUNTER:
        assert written.says.endswith("and this is done by: owner, installer.")


@pytest.mark.parametrize("wrong", ["", "abc", "G" * 32, "0" * 31, "0" * 33])
def test_a_tap_without_a_key_is_not_taken(people: People, job: Job, done: Done, wrong: str) -> None:
    with pytest.raises(InputError, match="out of date"):
        write(people, "x", tap=wrong)
    assert not Tap.objects.exists()


def test_the_job_is_locked_while_its_act_runs(people: People, job: Job, done: Done) -> None:
    """An act may change the job without asking for the lock itself."""
    seen: list[bool] = []

    def look(call: Call) -> str:
        seen.append(connection.in_atomic_block)
        return "Looked."

    acts.act("sample.look")(look)
    assert do("sample.look", key=KEY, who=people[Role.OWNER], job=job.number).state == "done"
    assert seen == [True]


def test_long_entries_are_kept_as_far_as_people_read_them(
    people: People, job: Job, done: Done
) -> None:
    row = write(people, "x" * 5000)
    row.refresh_from_db()
    assert len(row.fields["text"]) == 2000
    assert len(done.calls[0].fields["text"]) == 5000
