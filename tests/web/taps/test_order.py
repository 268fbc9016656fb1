"""A tablet's taps: in their order whatever the network does, and timed as far as clocks allow."""

import datetime
import math
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.taps.clock import Moment, moment_of
from layflat.web.taps.doing import do
from layflat.web.taps.models import Device, Tap
from layflat.web.taps.order import EarlierError, Sent
from web.taps.conftest import DEVICE, Done, key

People = dict[Role, Person]
NOW = datetime.datetime(2031, 5, 24, 14, 20, tzinfo=datetime.UTC)
SECOND, DAY = datetime.timedelta(seconds=1), datetime.timedelta(days=1)


def send(
    people: People,
    number: int,
    *,
    text: str = "",
    tap: str = "",
    age_s: float | None = 0.0,
    lacks: int = 0,
    device: str = DEVICE,
) -> Tap:
    return do(
        "sample.write",
        key=tap or key(number),
        who=people[Role.INSTALLER],
        job="2031-0042",
        fields={"text": text or f"tap {number}"},
        sent=Sent(device=device, number=number, age_s=age_s, lacks=lacks),
    )


def rows() -> dict[str, list[Any]]:
    """All that taps leave, without what the clock says."""
    return {
        "taps": list(Tap.objects.values_list("key", "number", "state", "says", "fields")),
        "events": list(Event.objects.values_list("kind", "sentence", "job__number")),
        "devices": list(Device.objects.values_list("key", "last")),
    }


def sent_in(people: People, texts: Sequence[str], numbers: Sequence[int]) -> dict[str, list[Any]]:
    """What is there after a tablet's taps came in as *numbers* say and the rest was sent in order.

    Undone afterwards.
    """
    with transaction.atomic():
        for number in (*numbers, *range(1, len(texts) + 1)):
            # A tablet that is told to send an earlier one first does so in its own time.
            with suppress(EarlierError):
                send(people, number, text=texts[number - 1])
        found = rows()
        transaction.set_rollback(True)
    return found


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_taps_replayed_doubled_or_disordered_leave_what_they_leave_in_order(
    people: People, job: Job, done: Done, data: st.DataObject
) -> None:
    texts = data.draw(
        st.lists(st.sampled_from(["begun", "ended", "refuse"]), min_size=1, max_size=6)
    )
    numbers = st.sampled_from(range(1, len(texts) + 1))
    disordered = data.draw(st.lists(numbers, max_size=12))
    once = sent_in(people, texts, [])
    assert len(once["taps"]) == len(texts)
    assert sent_in(people, texts, disordered) == once


def test_a_tap_that_comes_too_early_waits_for_the_one_before(
    people: People, job: Job, done: Done
) -> None:
    send(people, 1)
    with pytest.raises(EarlierError) as told:
        send(people, 3)
    assert told.value.wanted == 2
    assert not Tap.objects.filter(number=3).exists()
    send(people, 2)
    send(people, 3)
    assert [call.fields["text"] for call in done.calls] == ["tap 1", "tap 2", "tap 3"]


def test_two_tablets_count_for_themselves(people: People, job: Job, done: Done) -> None:
    send(people, 1)
    other = send(people, 1, tap=key(77), device="e" * 32)
    assert other.state == "done"
    assert Device.objects.count() == 2


def test_taps_that_a_tablet_has_no_more_are_said(people: People, job: Job, done: Done) -> None:
    """So it is after a backup was restored, which knows less than the tablet was told."""
    send(people, 1)
    with pytest.raises(EarlierError):
        send(people, 4, lacks=3)
    assert send(people, 4, lacks=2).state == "done"
    event = Event.objects.get(kind="taps.missing")
    assert event.sentence.startswith("2 earlier taps of a tablet never came in")
    assert send(people, 5).number == 5


def test_a_number_that_another_tap_has_is_shown_to_a_person(
    people: People, job: Job, done: Done
) -> None:
    send(people, 1)
    row = send(people, 1, tap=key(99), text="doubled")
    assert (row.state, row.number) == ("refused", None)
    assert row.says.startswith("Another tap came in as number 1 of this tablet")
    assert [call.fields["text"] for call in done.calls] == ["tap 1"]
    assert send(people, 2).state == "done"


def test_a_refused_tap_does_not_stop_those_after_it(people: People, job: Job, done: Done) -> None:
    assert send(people, 1, text="refuse").state == "refused"
    assert send(people, 2).state == "done"


def test_a_fault_keeps_the_tap_s_place(people: People, job: Job, done: Done) -> None:
    with pytest.raises(ZeroDivisionError):
        send(people, 1, text="fault")
    with pytest.raises(EarlierError):
        send(people, 2)
    assert send(people, 1).state == "done"


def test_a_tablet_that_returns_after_three_days_is_believed(
    people: People, job: Job, done: Done
) -> None:
    before = timezone.now()
    first = send(people, 1, age_s=3 * 86_400.0)
    second = send(people, 2, age_s=3 * 86_400.0 - 60)
    assert abs(first.tapped_at - (before - 3 * DAY)) < datetime.timedelta(minutes=1)
    assert first.tapped_at < second.tapped_at < before - 2 * DAY
    assert first.is_late
    assert first.clock_note == ""
    assert done.moments == [first.tapped_at, second.tapped_at]


@pytest.mark.parametrize("age_s", [-1.0, -86_400.0, 14 * 86_400.0 + 1, math.nan, math.inf])
def test_a_clock_that_cannot_be_believed_gives_the_time_of_coming_in(age_s: float) -> None:
    moment = moment_of(NOW, Sent(device=DEVICE, number=1, age_s=age_s))
    assert moment.at == NOW
    assert not moment.is_late
    assert moment.note.startswith("The tablet's clock was changed")


def test_a_clock_set_back_between_two_taps_keeps_their_order(
    people: People, job: Job, done: Done
) -> None:
    """The first came in at once; the second says that it is older."""
    first = send(people, 1, age_s=5.0)
    second = send(people, 2, age_s=3600.0)
    assert second.tapped_at == first.tapped_at
    assert "tapped before the tap that came before it" in second.clock_note


def test_a_delay_on_the_way_is_no_changed_clock() -> None:
    after = Moment(NOW)
    moment = moment_of(NOW + 2 * SECOND, Sent(device=DEVICE, number=2, age_s=4.0), after=after)
    assert moment == Moment(NOW)


@given(
    ages=st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=8),
    gaps=st.lists(st.integers(-3600, 3600), min_size=8, max_size=8),
)
def test_times_never_run_backwards_and_never_ahead(ages: list[float], gaps: list[int]) -> None:
    """Whatever the tablet's clock says, and whatever the server's own does."""
    received, last = NOW, None
    for number, (age_s, gap) in enumerate(zip(ages, gaps, strict=False), start=1):
        received = received + gap * SECOND
        sent = Sent(device=DEVICE, number=number, age_s=age_s)
        moment = moment_of(received, sent, after=last)
        assert moment.at <= received
        if last is not None and received >= last.at:
            assert moment.at >= last.at
        last = moment


def test_a_plain_form_is_tapped_when_it_comes_in() -> None:
    assert moment_of(NOW, None) == Moment(NOW)
