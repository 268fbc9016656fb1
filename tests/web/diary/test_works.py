"""Default times of works, working hours, and warnings, without a database."""

import datetime
import itertools
import zoneinfo

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from layflat.web.diary.hours import Hours, at, is_on_the_clock
from layflat.web.diary.models import Place
from layflat.web.diary.suggest import next_free
from layflat.web.diary.warnings import Booked, warnings
from layflat.web.diary.works import arrange, durations, working_days

VIENNA = zoneinfo.ZoneInfo("Europe/Vienna")
WEEK = {day: (datetime.time(8), datetime.time(17)) for day in range(5)}
HOURS = Hours(VIENNA, WEEK)
MONDAY = datetime.date(2031, 5, 19)
LONG_AGO = datetime.datetime(2031, 1, 1, tzinfo=datetime.UTC)
# Minutes of one person for a nose and its parts, as a cover's computation finds them.
FRONT = {
    "intake": 30.0,
    "wash": 120.0,
    "cut": 22.4,
    "weed": 31.0,
    "lay": 485.5,
    "edges": 40.0,
    "inspect": 34.0,
    "hand-back": 30.0,
}


def minutes(values: dict[str, float]) -> dict[str, dict[str, object]]:
    return {step: {"minutes": value, "source": "assumed"} for step, value in values.items()}


@pytest.mark.parametrize("known", [None, minutes(FRONT)])
def test_a_whole_front_by_two_people_spans_three_working_days(known: object) -> None:
    """Common practice, no source: intake, wash, cut and weed; laying; edges, inspection, back."""
    lasts = durations(known)  # type: ignore[arg-type]
    assert lasts["lay"] in (240, 255)  # two people: half of it by the clock
    planned = arrange(lasts, first_day=MONDAY, hours=HOURS, now=LONG_AGO)
    assert working_days(planned, HOURS) == 3
    days = {one.work.key: HOURS.day_of(one.starts_at) - MONDAY for one in planned}
    by_day = {key: value.days for key, value in days.items()}
    assert {by_day[key] for key in ("intake", "wash", "cut")} == {0}
    assert by_day["lay"] == 1
    assert {by_day[key] for key in ("edges", "inspect", "hand-back")} == {2}


def test_it_goes_on_after_the_weekend() -> None:
    planned = arrange(
        durations(None), first_day=MONDAY + datetime.timedelta(4), hours=HOURS, now=LONG_AGO
    )
    days = sorted({HOURS.day_of(one.starts_at).isoweekday() for one in planned})
    assert days == [1, 2, 5]


def test_what_takes_more_than_a_day_is_cut_and_a_coating_only_asked_for() -> None:
    lasts = durations(minutes({**FRONT, "lay": 2400.0}), coating=True)
    planned = arrange(lasts, first_day=MONDAY, hours=HOURS, now=LONG_AGO)
    lay = [one for one in planned if one.work.key == "lay"]
    assert [one.part for one in lay] == [1, 2, 3]
    assert sum((one.ends_at - one.starts_at).total_seconds() for one in lay) == 1200 * 60
    assert "coat" in lasts
    assert "coat" not in durations(None)


ZONES = st.sampled_from(
    [
        zoneinfo.ZoneInfo(name)
        for name in ("Europe/Vienna", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata")
    ]
)
DAYS = st.dates(datetime.date(2024, 1, 1), datetime.date(2035, 12, 31))
TIMES = st.times().map(lambda time: time.replace(second=0, microsecond=0))


@given(day=DAYS, time=TIMES, zone=ZONES)
def test_a_time_of_the_shop_s_clock_comes_back_as_it_was(
    day: datetime.date, time: datetime.time, zone: zoneinfo.ZoneInfo
) -> None:
    """Against the zone database itself: what the clock shows at that moment."""
    shown = at(day, time, zone).astimezone(zone)
    if is_on_the_clock(day, time, zone):
        assert (shown.date(), shown.time()) == (day, time)
        assert shown.fold == 0
    else:
        # Later by as much as the clock went forward: half an hour or an hour.
        wall = datetime.datetime.combine(day, time)
        ahead = shown.replace(tzinfo=None) - wall
        assert ahead in (datetime.timedelta(minutes=30), datetime.timedelta(hours=1))


def test_the_hours_of_a_day_on_which_clocks_change() -> None:
    # Clocks in Vienna go forward on 30 March 2031 and back on 26 October (EU rule: last Sundays).
    all_week = Hours(VIENNA, dict.fromkeys(range(7), (datetime.time(0), datetime.time(12))))
    for day, hours in ((datetime.date(2031, 3, 30), 11), (datetime.date(2031, 10, 26), 13)):
        span = all_week.of(day)
        assert span is not None
        assert (span[1] - span[0]).total_seconds() == hours * 3600
    assert not is_on_the_clock(datetime.date(2031, 3, 30), datetime.time(2, 30), VIENNA)
    assert is_on_the_clock(datetime.date(2031, 10, 26), datetime.time(2, 30), VIENNA)


@settings(max_examples=60, deadline=None, phases=(Phase.explicit, Phase.generate))
@given(
    start=DAYS,
    length=st.integers(15, 3000),
    zone=ZONES,
    off=st.sets(st.integers(0, 6), max_size=6),
)
def test_works_lie_within_working_hours_and_lose_no_minute(
    start: datetime.date, length: int, zone: zoneinfo.ZoneInfo, off: set[int]
) -> None:
    open_days = {day: WEEK[0] for day in range(7) if day not in off}
    hours = Hours(zone, open_days)
    begins = at(start, datetime.time(0), zone)
    spans = hours.fit(begins, datetime.timedelta(minutes=length))
    assert sum((b - a).total_seconds() for a, b in spans) == length * 60
    assert all(not hours.is_outside(a, b) for a, b in spans)
    assert spans[0][0] >= begins
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(spans))


def test_a_shop_that_never_works_gets_an_answer() -> None:
    planned = arrange(durations(None), first_day=MONDAY, hours=Hours(VIENNA, {}), now=LONG_AGO)
    assert len(planned) == 7


# Warnings.


def hour(day: int, clock: float) -> datetime.datetime:
    midnight = at(MONDAY + datetime.timedelta(days=day), datetime.time(0), VIENNA)
    return midnight + datetime.timedelta(hours=clock)


def booked(key: int, work: str, day: int, begins: float, ends: float, **more: object) -> Booked:
    return Booked(
        key=key,
        work=work,
        title=f"{work} {key}",
        starts_at=hour(day, begins),
        ends_at=hour(day, ends),
        **{"job": "A", **more},  # type: ignore[arg-type]
    )


def said(*bookings: Booked, promised: dict[str, datetime.date] | None = None) -> list[str]:
    found = warnings(bookings, hours=HOURS, promised=promised or {})
    return [concern.words for concerns in found.values() for concern in concerns]


def test_a_place_and_a_person_taken_twice() -> None:
    ines = {7: "Ines"}
    first = booked(1, "wash", 0, 8, 10, place="Bay 1", people=ines)
    other = booked(2, "lay", 0, 9, 11, job="B", place="Bay 1", people=ines)
    assert said(first, other) == [
        "Bay 1 is taken by lay 2.",
        "Ines also at lay 2.",
        "Bay 1 is taken by wash 1.",
        "Ines also at wash 1.",
    ]
    assert not said(first, booked(2, "lay", 0, 10, 11, job="B", place="Bay 1", people=ines))
    assert not said(first, booked(2, "intake", 0, 8, 9, place="Bay 1"))


@given(
    st.lists(
        st.tuples(
            st.integers(0, 11),
            st.integers(1, 6),
            st.sampled_from(["", "Bay 1", "Bay 2"]),
            st.sets(st.sampled_from([7, 8])),
            st.sampled_from(["", "A", "B"]),
        ),
        max_size=12,
    )
)
def test_what_is_taken_twice_is_found_as_by_looking_at_every_pair(
    drawn: list[tuple[int, int, str, set[int], str]],
) -> None:
    names = {7: "Ines", 8: "Corin"}
    bookings = [
        booked(
            key,
            "",
            0,
            8 + begins / 2,
            8 + (begins + lasts) / 2,
            place=place,
            people={one: names[one] for one in people},
            job=job,
        )
        for key, (begins, lasts, place, people, job) in enumerate(drawn)
    ]
    pairs = [
        (one.key, other.key)
        for one, other in itertools.permutations(bookings, 2)
        if one.starts_at < other.ends_at and other.starts_at < one.ends_at
        if one.people.keys() & other.people.keys()
        or (one.place and one.place == other.place and not (one.job and one.job == other.job))
    ]
    found = warnings(bookings, hours=HOURS, promised={})
    assert list(dict.fromkeys((key, c.other) for key in found for c in found[key])) == pairs


@pytest.mark.parametrize(
    ("earlier", "later", "words"),
    [
        (("lay", 0, 8, 12), ("wash", 0, 13, 15), "Lay begins before wash, iron removal ends."),
        (("lay", 0, 8, 12), ("edges", 0, 13, 14), "Heat the edges comes before film has rested"),
        (("hand-back", 0, 8, 9), ("inspect", 0, 9, 10), "Hand back begins before inspection ends."),
        (("coat", 0, 8, 9), ("lay", 0, 9, 10), "Coating over film begins before lay ends."),
        (("hand-back", 0, 8, 9), ("wash", 0, 9, 10), "Hand back begins before wash"),
    ],
)
def test_works_out_of_order(
    earlier: tuple[str, int, float, float], later: tuple[str, int, float, float], words: str
) -> None:
    found = said(booked(1, *earlier), booked(2, *later))
    assert len(found) == 1
    assert found[0].startswith(words)


def test_edges_the_next_morning_are_in_order_and_late_in_the_evening_not() -> None:
    assert not said(booked(1, "lay", 0, 8, 12), booked(2, "edges", 1, 8, 9))
    assert said(booked(1, "lay", 0, 14, 22.5), booked(2, "edges", 1, 8, 9))


def test_a_promise_at_risk_and_hours_outside() -> None:
    late = (booked(1, "inspect", 1, 8, 9), booked(2, "hand-back", 2, 9, 10))
    on = MONDAY + datetime.timedelta(days=1)
    assert said(*late, promised={"A": on}) == ["The last work ends after the day that is promised."]
    assert not said(*late, promised={"A": on + datetime.timedelta(days=1)})
    assert said(booked(1, "wash", 0, 7, 9)) == ["Some of it lies outside working hours."]
    assert said(booked(1, "wash", 5, 9, 10))
    assert not said(booked(1, "", 5, 9, 10, job=""))


def test_the_next_free_times_avoid_what_is_taken() -> None:
    bays = [Place(pk=1, name="Bay 1", kind=Place.Kind.BAY)]
    plotter = Place(pk=2, name="Plotter", kind=Place.Kind.PLOTTER)
    lasts = durations(None)
    taken = [(1, hour(0, 8), hour(0, 9)), (2, hour(1, 8), hour(1, 17))]
    found = next_free(
        lasts,
        first_day=MONDAY,
        hours=HOURS,
        now=LONG_AGO,
        where=[*bays, plotter],
        taken=taken,
    )
    first = found[0][0]
    # Monday's bay and Tuesday's plotter are taken; Wednesday to Friday are free.
    assert HOURS.day_of(first.starts_at) == MONDAY + datetime.timedelta(days=2)
    assert {place.name for _, place in found if place} == {"Bay 1", "Plotter"}
    full = [(1, hour(0, 0), hour(400, 0))]
    found = next_free(lasts, first_day=MONDAY, hours=HOURS, now=LONG_AGO, where=bays, taken=full)
    assert HOURS.day_of(found[0][0].starts_at) == MONDAY
