"""Ticks at the plotter and at the lit table: film is booked once, two people are told, and back."""

import uuid
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layflat.web.cutting import film
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.pool import to_lay_out
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.stock.booking import free_mm
from layflat.web.stock.models import Movement, Reservation, Roll
from layflat.web.taps.doing import do
from layflat.web.taps.models import Tap
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, to_be_cut

People = dict[Role, Person]


def tap(job: Job, act: str, who: Person, **fields: Any) -> Tap:
    values = {name: str(value) for name, value in fields.items()}
    return do(f"cutting.{act}", key=uuid.uuid4().hex, who=who, job=job.number, fields=values)


def went_in(job: Job, act: str, who: Person, **fields: Any) -> str:
    done = tap(job, act, who, **fields)
    assert done.state == Tap.State.DONE, done.says
    return done.says


def refused(job: Job, act: str, who: Person, **fields: Any) -> str:
    done = tap(job, act, who, **fields)
    assert done.state == Tap.State.REFUSED, done.says
    return done.says


def states(job: Job) -> list[str]:
    return [cut.state for cut in Cut.objects.filter(section__layout__job=job).order_by("pk")]


def left(roll: Roll) -> int:
    roll.refresh_from_db()
    assert roll.left_mm == sum(roll.movements.values_list("delta_mm", flat=True))
    return roll.left_mm


def test_a_section_is_cut_once_and_the_second_person_is_told(people: People) -> None:
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    section = only_section(to_be_cut(job, roll))
    says = went_in(job, "section-cut", ines, section=section.pk)
    assert says.startswith("Section 1 of layout 1 is cut; ")
    assert left(roll) == 9000 - section.film_mm
    assert states(job) == ["cut", "cut"]
    assert not Reservation.objects.filter(ended_at__isnull=True).exists()
    assert Layout.objects.get().state == Layout.State.CUT
    for act in ("section-cut", "section-spoiled"):
        says = refused(job, act, odile, section=section.pk, reason="feed", lost="all")
        assert says.startswith("Section 1 of layout 1 was ticked as cut already by installer at ")
    assert left(roll) == 9000 - section.film_mm
    assert Movement.objects.filter(source=f"section {section.pk}").count() == 1
    assert refused(job, "section-cut", people[Role.COUNTER], section=section.pk).startswith(
        "counter signs in as counter"
    )


def test_spoiled_pieces_are_back_at_once_and_laid_out_again(people: People) -> None:
    ines = people[Role.INSTALLER]
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    section = only_section(to_be_cut(job, roll))
    lost = section.cuts.get(number=2)
    says = went_in(
        job, "section-spoiled", ines, section=section.pk, reason="feed", note="by 4 mm",
        lost=lost.pk, film=600, unit="mm",
    )  # fmt: skip
    assert "spoiled: the feed wandered: by 4 mm." in says
    assert "To be laid out again: 2 Mirror-left." in says
    assert states(job) == ["cut", "lost"]
    assert [piece.number for piece in to_lay_out(job)] == [2]
    assert left(roll) == 8400
    assert free_mm(roll) == 8400
    movement = Movement.objects.get(source=f"section {section.pk}")
    assert (movement.kind, movement.reason) == ("spoiled", "the feed wandered: by 4 mm")
    again = to_be_cut(job, roll)
    cut = again.sections.get().cuts.get()
    assert (cut.number, cut.attempt, again.number) == (2, 2, 2)
    says = refused(job, "untick", ines, section=section.pk)
    assert says == (
        "Piece 2, mirror, left, has been laid out again in layout 2; drop that one first."
    )
    went_in(job, "section-cut", ines, section=again.sections.get().pk)
    assert [(c.number, c.state) for c in film.good_cuts(job)] == [(1, "cut"), (2, "cut")]
    assert len(film.cuts_of(job)) == 3


def test_a_spoiled_section_loses_everything_unless_it_is_said(people: People) -> None:
    ines = people[Role.INSTALLER]
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    section = only_section(to_be_cut(job, roll))
    went_in(job, "section-spoiled", ines, section=section.pk, reason="dirt", lost="all")
    assert states(job) == ["lost", "lost"]
    assert left(roll) == 9000 - section.film_mm
    went_in(job, "untick", ines, section=section.pk)
    assert states(job) == ["placed", "placed"]
    assert left(roll) == 9000
    assert Reservation.objects.get(ended_at__isnull=True).length_mm == section.film_mm
    # Ticked anew it is booked anew.
    went_in(job, "section-cut", ines, section=section.pk)
    assert left(roll) == 9000 - section.film_mm


AMISS = (
    ({"reason": "", "lost": "all"}, "Choose why"),
    ({"reason": "other", "lost": "all"}, "in a few words"),
    ({"reason": "feed", "lost": ""}, "Tick which pieces are lost"),
    ({"reason": "feed", "lost": "999999"}, "Tick which pieces are lost"),
    ({"reason": "feed", "lost": "x"}, "open the page anew"),
    ({"reason": "feed", "lost": "all", "film": "much"}, "as a number"),
    ({"reason": "feed", "lost": "all", "film": "nan"}, "as a number"),
    ({"reason": "feed", "lost": "all", "film": "inf"}, "as a number"),
    ({"reason": "feed", "lost": "all", "film": "-1"}, "between 0 and"),
    ({"reason": "feed", "lost": "all", "film": "60000"}, "between 0 and"),
    ({"reason": "feed", "lost": "all", "section": "0"}, "no such section"),
    ({"reason": "feed", "lost": "all", "section": "9" * 40}, "open the page anew"),
)


def test_a_spoiled_section_says_why_and_what(people: People) -> None:
    job, _ = a_job()
    roll = a_roll()
    section = only_section(to_be_cut(job, roll))
    for fields, says in AMISS:
        values = {"section": str(section.pk), **fields}
        assert says in refused(job, "section-spoiled", people[Role.INSTALLER], **values)
    assert states(job) == ["placed", "placed"]
    assert left(roll) == 15_000


def test_another_job_s_sections_and_pieces_are_not_ticked(people: People) -> None:
    ines = people[Role.INSTALLER]
    job, _ = a_job()
    section = only_section(to_be_cut(job))
    other, _ = a_job("2031-0043")
    assert "no such section" in refused(other, "section-cut", ines, section=section.pk)
    cut = section.cuts.first()
    assert "no such piece" in refused(other, "weeded", ines, cut=cut.pk)


def test_more_than_a_roll_has_is_never_taken(people: People) -> None:
    """Film that was counted wrong: the roll was corrected since the layout was kept."""
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    section = only_section(to_be_cut(job, roll))
    Movement.objects.create(roll=roll, delta_mm=-8900, kind="corrected", reason="counted")
    Roll.objects.filter(pk=roll.pk).update(left_mm=100)
    says = refused(job, "section-cut", people[Role.INSTALLER], section=section.pk)
    assert says.startswith("R1 has ")
    assert states(job) == ["placed", "placed"]


def test_weeding_is_ticked_piece_by_piece_or_for_a_section(people: People) -> None:
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    job, _ = a_job()
    section = only_section(to_be_cut(job))
    one, two = section.cuts.order_by("number")
    assert "it is “to be cut”" in refused(job, "weeded", ines, cut=one.pk)
    assert "Nothing is left" in refused(job, "weeded", ines, section=section.pk)
    went_in(job, "section-cut", ines, section=section.pk)
    assert went_in(job, "weeded", ines, cut=one.pk) == "Weeded: 1 Hood."
    one.refresh_from_db()
    assert (one.state, one.weeded_by) == ("weeded", ines)
    assert "weeded already by installer at" in refused(job, "weeded", odile, cut=one.pk)
    assert went_in(job, "weeded", odile, section=section.pk) == "Weeded: 2 Mirror-left."
    went_in(job, "untick", ines, cut=two.pk)
    assert "no tick to take back" in refused(job, "untick", ines, cut=two.pk)
    assert states(job) == ["weeded", "cut"]


def test_a_tick_stays_once_a_piece_lies_on_the_car_or_was_given_up(people: People) -> None:
    ines = people[Role.INSTALLER]
    job, _ = a_job()
    section = only_section(to_be_cut(job))
    went_in(job, "section-cut", ines, section=section.pk)
    cut = film.good_cuts(job)[0]
    film.mark_laid(cut)
    assert "lies on the car" in refused(job, "untick", ines, section=section.pk)
    assert [piece.number for piece in film.not_laid(job)] == [2]
    film.mark_not_laid(cut)
    assert film.good_cuts(job)[0].state == Cut.State.CUT
    with transaction.atomic():
        film.lose(cut, because="dust under it", who=ines, at=section.layout.made_at)
    assert "given up since" in refused(job, "untick", ines, section=section.pk)
    with pytest.raises(Exception, match=r"given up by installer already: dust under it\."):
        film.lose(cut, because="again", who=ines, at=section.layout.made_at)
    with pytest.raises(Exception, match="cannot be laid"):
        film.mark_laid(cut)
    event = Event.objects.get(kind=film.LOST)
    assert event.sentence == (
        "Piece 1, hood is lost: dust under it. It is to be laid out and cut again."
    )
    assert [piece.number for piece in to_lay_out(job)] == [1]
    assert not film.all_laid(job)
    assert film.lot_of(cut) == "LW-7731"


TICKS = st.lists(
    st.tuples(
        st.sampled_from(["cut", "spoiled", "lost-one", "weeded", "untick", "unweed", "again"]),
        st.integers(0, 3),
    ),
    max_size=8,
)


@pytest.mark.on_sqlite
@settings(
    max_examples=10, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(ticks=TICKS)
def test_whatever_is_ticked_stock_and_film_agree(
    people: People, ticks: list[tuple[str, int]]
) -> None:
    """No order of ticks leaves a piece with two films, a roll that disagrees, or film unbooked."""
    ines = people[Role.INSTALLER]
    with transaction.atomic():
        number = f"2031-{Job.objects.count():04}"
        job, _ = a_job(number)
        roll = a_roll(length_mm=6000)
        to_be_cut(job, roll)
        for what, place in ticks:
            sections = list(Section.objects.filter(layout__job=job).order_by("pk"))
            section = sections[place % len(sections)]
            cut = section.cuts.order_by("pk").first()
            acts: dict[str, tuple[str, dict[str, Any]]] = {
                "cut": ("section-cut", {"section": section.pk}),
                "spoiled": (
                    "section-spoiled",
                    {"section": section.pk, "reason": "dirt", "lost": "all", "film": 100 * place},
                ),
                "lost-one": (
                    "section-spoiled",
                    {
                        "section": section.pk,
                        "reason": "feed",
                        "lost": cut.pk if cut else 0,
                        "film": 900,
                    },
                ),
                "weeded": ("weeded", {"section": section.pk}),
                "untick": ("untick", {"section": section.pk}),
                "unweed": ("untick", {"cut": cut.pk if cut else 0}),
            }
            if what == "again":
                if to_lay_out(job):
                    to_be_cut(job, roll)
            else:
                tap(job, acts[what][0], ines, **acts[what][1])
        _agree(job, roll)
        transaction.set_rollback(True)


def _agree(job: Job, roll: Roll) -> None:
    booked = 0
    for section in Section.objects.filter(layout__job=job):
        movements = Movement.objects.filter(source=f"section {section.pk}")
        standing = [one for one in movements if not hasattr(one, "given_back")]
        if section.state == Section.State.CUT:
            assert [-one.delta_mm for one in standing] == [section.film_mm]
        elif section.state == Section.State.OPEN:
            assert not standing
        booked += sum(-one.delta_mm for one in standing)
        is_gone = set(section.cuts.values_list("state", flat=True))
        if section.state == Section.State.OPEN:
            assert is_gone <= {"placed"}
        else:
            assert "placed" not in is_gone
    assert left(roll) == 6000 - booked
    needed = sum(
        Section.objects.filter(
            layout__job=job, layout__state=Layout.State.KEPT, state=Section.State.OPEN
        ).values_list("film_mm", flat=True)
    )
    reserved = sum(
        Reservation.objects.filter(roll=roll, ended_at__isnull=True).values_list(
            "length_mm", flat=True
        )
    )
    assert reserved == min(needed, roll.left_mm)
