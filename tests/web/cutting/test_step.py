"""The step "Cutting and weeding" ends with the last piece that is weeded."""

from django.utils import timezone

from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.page import layout_rows
from layflat.web.cutting.ticking import tick_spoiled
from layflat.web.gates.models import Kind, Step
from layflat.web.gates.planning import plan
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from web.bayed import an_accepted_job, in_the_bay, some_cuts, steps_done
from web.laying.shop import tap

People = dict[Role, Person]


def step(job: Job) -> Step:
    return Step.objects.get(job=job, kind=Kind.CUT)


def to_be_weeded(people: People) -> tuple[Job, list[Cut]]:
    job, outcome = an_accepted_job()
    cuts = some_cuts(job, outcome, state=Cut.State.CUT)
    in_the_bay(job)
    steps_done(job, Kind.IRON)
    return job, cuts


def test_the_last_piece_ends_it_and_its_tick_taken_back_opens_it(people: People) -> None:
    ines = people[Role.INSTALLER]
    job, (first, last) = to_be_weeded(people)
    assert "Every piece" not in tap("cutting.weeded", ines, job, cut=first.pk).says
    assert step(job).state == Step.State.OPEN
    says = tap("cutting.weeded", ines, job, cut=last.pk).says
    assert says.endswith("Every piece is weeded: “Cutting and weeding” is done.")
    assert (step(job).state, step(job).ended_by) == (Step.State.DONE, ines)
    event = Event.objects.filter(job=job, kind="gates.done").get()
    assert event.sentence == "Done by itself, every piece is weeded: Cutting and weeding."
    tap("cutting.untick", ines, job, cut=last.pk)
    assert step(job).state == Step.State.BEGUN
    tap("cutting.untick", ines, job, cut=first.pk)
    assert step(job).state == Step.State.BEGUN
    tap("cutting.weeded", ines, job, section=first.section_id)
    assert step(job).state == Step.State.DONE
    tap("cutting.untick", ines, job, section=first.section_id)
    assert step(job).state == Step.State.BEGUN


def test_once_film_is_laid_a_tick_taken_back_leaves_it_done(people: People) -> None:
    ines = people[Role.INSTALLER]
    job, (first, last) = to_be_weeded(people)
    tap("cutting.weeded", ines, job, section=first.section_id)
    assert tap("laying.began", ines, job, cut=first.pk, people=ines.pk).state == "done"
    assert tap("cutting.untick", ines, job, cut=last.pk).state == "done"
    assert step(job).state == Step.State.DONE


def test_what_waits_for_its_turn_is_left_to_people_and_the_tick_goes_in(people: People) -> None:
    job, (first, _) = to_be_weeded(people)
    Step.objects.filter(job=job, kind=Kind.IRON).update(state=Step.State.OPEN)
    done = tap("cutting.weeded", people[Role.INSTALLER], job, section=first.section_id)
    assert (done.state, "Every piece" in done.says) == ("done", False)
    assert step(job).state == Step.State.OPEN


def test_film_that_was_weeded_before_the_bay_is_planned_counts(people: People) -> None:
    job, outcome = an_accepted_job()
    some_cuts(job, outcome)
    who = people[Role.COUNTER]
    plan(job, (), left_out={}, who=who, at=timezone.now())
    assert step(job).state == Step.State.DONE


def test_a_layout_of_which_all_is_spoiled_says_so(people: People) -> None:
    job, outcome = an_accepted_job()
    some_cuts(job, outcome, state=Cut.State.PLACED)
    section = Section.objects.select_related("layout__roll", "layout__job").get()
    who = people[Role.INSTALLER]
    tick_spoiled(
        section, reason="feed", note="", lost=None, film_mm=233, who=who, at=timezone.now()
    )
    (row,) = layout_rows(job)
    assert Layout.objects.get().state == Layout.State.CUT
    assert (row.standing.word, row.standing.shape, row.spoiled) == ("cut and spoiled", "late", 1)
    # One length, on the roll's page and in the history.
    event = Event.objects.get(job=job, kind="cutting.spoiled")
    assert "0.233 m of" in event.sentence
