"""Cutting times: recorded by two taps, corrected by, told on pages with where they are from."""

import datetime
import uuid
from collections.abc import Callable

import pytest
from django.test import Client

from layflat.cut import time_ratio
from layflat.web.cutting.models import Section
from layflat.web.cutting.times import learned, note_time, source_words, time_words
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.taps.doing import do
from layflat.web.taps.models import Tap
from layflat.web.taps.order import Sent
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, to_be_cut

SignedIn = Callable[[Role], Client]
NOON = datetime.datetime(2031, 5, 24, 12, 0, tzinfo=datetime.UTC)


def tapped(job: Job, act: str, section: Section, who: Person, *, ago_s: float) -> None:
    """A tap that a tablet kept for a while before it sent it."""
    number = Tap.objects.count() + 1
    done = do(
        f"cutting.{act}",
        key=uuid.uuid4().hex,
        who=who,
        job=job.number,
        fields={"section": str(section.pk)},
        sent=Sent(device="a" * 32, number=number, age_s=ago_s),
    )
    assert done.state == Tap.State.DONE, done.says


def test_two_taps_record_a_time_and_pages_say_what_it_taught(
    signed_in: SignedIn, people: dict[Role, Person]
) -> None:
    ines = people[Role.INSTALLER]
    job, _ = a_job()
    layout = to_be_cut(job, a_roll())
    section = only_section(layout)
    browser = signed_in(Role.INSTALLER)
    page = browser.get(f"/jobs/{job.number}/film/1/").content.decode()
    assert "no section&#x27;s time is recorded yet" in page
    assert "The cut begins" in page
    tapped(job, "section-begun", section, ines, ago_s=2.0 * section.seconds)
    assert "being cut since" in browser.get(f"/jobs/{job.number}/film/1/").content.decode()
    tapped(job, "section-cut", section, ines, ago_s=0.5 * section.seconds)
    section.refresh_from_db()
    assert section.took_s == pytest.approx(1.5 * section.seconds, abs=2.0)
    page = browser.get(f"/jobs/{job.number}/film/1/").content.decode()
    expected = time_ratio([(section.seconds, section.took_s)])
    assert (
        f"corrected by 1 section that this shop cut: {expected.ratio:.2f} ± "
        f"{expected.deviation:.2f} of what" in page
    )
    assert "piece s, took" not in page
    assert ", took " in page
    tapped(job, "untick", section, ines, ago_s=0.0)
    section.refresh_from_db()
    assert (section.begun_at, section.took_s) == (None, None)


def test_what_cannot_be_a_time_is_not_written_down() -> None:
    for seconds, took in ((100.0, 3.0), (100.0, 2001.0), (2000.0, 60.0), (0.0, 60.0)):
        section = Section(seconds=seconds)
        note_time(section, since=NOON, until=NOON + datetime.timedelta(seconds=took))
        assert section.took_s is None
    section = Section(seconds=100.0, took_s=90.0)
    note_time(section, since=NOON, until=NOON + datetime.timedelta(seconds=140))
    assert section.took_s == 90.0


def test_records_of_the_shop_correct_its_estimates(db: None) -> None:
    section = only_section(to_be_cut(a_job()[0], a_roll()))
    none = learned()
    assert none.records == 0
    assert time_words(600.0, none) == "10 min"
    assert source_words(none).startswith("Times are as the machine's values say")
    Section.objects.filter(pk=section.pk).update(seconds=600.0, took_s=720.0)
    one = learned()
    assert one == time_ratio([(600.0, 720.0)])
    assert time_words(600.0, one) == "12 min (10 to 14 min)"
    # A time that cannot be one, written down by an earlier version, spoils nothing.
    Section.objects.filter(pk=section.pk).update(took_s=60_000.0)
    assert learned().records == 0
    assert learned(Section.objects.none()).records == 0
