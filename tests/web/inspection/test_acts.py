"""Inspection: who may, what is refused, how flags are mended and end."""

import datetime

import pytest
from django.utils import timezone

from layflat.base import InputError
from layflat.web.cutting.models import Cut
from layflat.web.cutting.pool import to_lay_out
from layflat.web.gates.models import Kind, Step
from layflat.web.inspection import doing, ending
from layflat.web.inspection.models import Check, Flag, Round
from layflat.web.inspection.open import checks_of, is_checked, may_inspect, open_flags
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying import doing as hands_on
from layflat.web.laying.doing import the_cut
from layflat.web.laying.done import layers_of
from layflat.web.laying.models import Laying
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from layflat.web.taps.models import Tap
from web.bayed import laid, steps_done
from web.laying.shop import ready_to_lay, somebody, tap


@pytest.fixture
def ines(shop: Shop) -> Person:
    return somebody("Ines")


@pytest.fixture
def corin(shop: Shop) -> Person:
    return somebody("Corin", Role.COUNTER)


@pytest.fixture
def odile(shop: Shop) -> Person:
    return somebody("Odile", Role.OWNER)


def all_laid(*people: Person) -> tuple[Job, list[Cut]]:
    """A job whose film is all on the car, by these people."""
    job, cuts = ready_to_lay()
    for cut in cuts:
        laid(cut, *people)
    steps_done(job, Kind.LAY)
    return job, cuts


def refused(act: str, who: Person, job: Job, **fields: object) -> str:
    row = tap(act, who, job, **fields)
    assert row.state == Tap.State.REFUSED, row.says
    return row.says


def done(act: str, who: Person, job: Job, **fields: object) -> str:
    row = tap(act, who, job, **fields)
    assert row.state == Tap.State.DONE, row.says
    return row.says


def flag_on(
    job: Job, cut: Cut, who: Person, *, kind: str = "finger", remedy: str = "relay"
) -> Flag:
    done("inspection.flagged", who, job, cut=cut.pk, kind=kind, remedy=remedy, x_mm="12,5", y_mm=3)
    return job.flags.get(number=job.flags.count())


def new_film(cut: Cut) -> Cut:
    """The same piece cut again, weeded."""
    return Cut.objects.create(
        section=cut.section,
        piece=cut.piece,
        number=cut.number,
        attempt=cut.attempt + 1,
        state=Cut.State.WEEDED,
    )


def test_whoever_laid_any_of_it_is_refused_by_name(ines: Person, corin: Person) -> None:
    job, (hood, _) = all_laid(ines)
    says = refused("inspection.begun", ines, job)
    assert says.startswith("Ines had 1 hood and 2 roof of this job in hand")
    assert may_inspect(job, ines)
    assert may_inspect(job, corin) == ""
    # Nor whoever pressed something down, or laid film that was lost since.
    laid(hood, corin, way=Laying.Way.PRESSED)
    Cut.objects.filter(pk=hood.pk).update(state=Cut.State.LOST)
    assert may_inspect(job, corin)
    assert layers_of(job) == {ines.pk, corin.pk}


def test_a_shop_of_one_overrides_with_a_reason_that_stays(ines: Person) -> None:
    job, cuts = all_laid(ines)
    refused("inspection.begun", ines, job, own_work_because="  x ")
    done("inspection.begun", ines, job, own_work_because="nobody else works here")
    for cut in cuts:
        done("inspection.checked", ines, job, cut=cut.pk)
    done("inspection.finished", ines, job)
    assert job.stage == Stage.CHECKED
    assert Round.objects.get().own_work_because == "nobody else works here"
    last = Event.objects.filter(job=job, kind="inspection.finished").get()
    assert "nobody else works here" in last.sentence


def test_a_reason_that_is_not_needed_is_not_kept(ines: Person, corin: Person) -> None:
    job, _ = all_laid(ines)
    done("inspection.begun", corin, job, own_work_because="just so")
    assert Round.objects.get().own_work_because == ""


def test_inspection_waits_for_all_film_and_for_its_step(ines: Person, corin: Person) -> None:
    job, (hood, roof) = ready_to_lay()
    laid(hood, ines)
    assert "Piece 2 roof is not laid yet" in refused("inspection.begun", corin, job)
    laid(roof, ines)
    assert "waits for" in refused("inspection.begun", corin, job)
    steps_done(job, Kind.LAY)
    done("inspection.begun", corin, job)
    assert Step.objects.get(job=job, kind=Kind.INSPECT).state == Step.State.BEGUN


def test_one_inspects_at_a_time_and_the_second_is_told(
    ines: Person, corin: Person, odile: Person
) -> None:
    job, (hood, roof) = all_laid(ines)
    done("inspection.begun", corin, job)
    assert "You inspect this job already" in refused("inspection.begun", corin, job)
    assert "Corin inspects this job since" in refused("inspection.begun", odile, job)
    assert "take it over" in refused("inspection.checked", odile, job, cut=hood.pk)
    done("inspection.checked", corin, job, cut=hood.pk)
    done("inspection.begun", odile, job, take_over="yes")
    assert "was checked by Corin already" in refused("inspection.checked", odile, job, cut=hood.pk)
    done("inspection.checked", odile, job, cut=roof.pk)
    done("inspection.left", odile, job)
    assert "Nobody inspects" in refused("inspection.finished", odile, job)
    done("inspection.begun", corin, job)
    done("inspection.finished", corin, job)
    assert {check.round.inspector for check in checks_of(job).values()} == {corin, odile}
    assert [found.ended_at is not None for found in Round.objects.all()] == [True] * 3


def test_a_piece_is_checked_once_and_only_on_the_car(ines: Person, corin: Person) -> None:
    job, (hood, roof) = all_laid(ines)
    assert "Nobody inspects" in refused("inspection.checked", corin, job, cut=hood.pk)
    done("inspection.begun", corin, job)
    done("inspection.checked", corin, job, cut=hood.pk)
    refused("inspection.checked", corin, job, cut=hood.pk)
    done("laying.remake", ines, job, cut=roof.pk, because="torn at the corner")
    assert "came off: torn" in refused("inspection.checked", corin, job, cut=roof.pk)
    assert "not laid" in refused("inspection.checked", corin, job, cut=new_film(roof).pk)
    assert Check.objects.count() == 1


def test_a_flag_is_pressed_down_and_seen_by_a_second_person(ines: Person, corin: Person) -> None:
    job, (hood, roof) = all_laid(ines)
    done("inspection.begun", corin, job)
    done("inspection.checked", corin, job, cut=hood.pk)
    done("inspection.checked", corin, job, cut=roof.pk)
    flag = flag_on(job, hood, corin, kind="lifted edge", remedy="press")
    assert (flag.x_mm, flag.y_mm, flag.found_by) == (12.5, 3.0, corin)
    assert is_checked(job) == "Flag 1 is not ended."
    assert "comes first" in refused("inspection.ended-flag", corin, job, flag=1, how="gone")
    assert refused("inspection.finished", corin, job) == "Flag 1 is not ended."
    done("inspection.mended", ines, job, flag=1, how="warmed and pressed")
    laying = Laying.objects.get(way=Laying.Way.PRESSED)
    assert (laying.cut, laying.hard) == (hood, "warmed and pressed")
    assert "mended already" in refused("inspection.mended", ines, job, flag=1)
    # The earlier look at the piece counts no more.
    assert "Piece 1 hood is not checked since it was last touched" in is_checked(job)
    done("inspection.ended-flag", corin, job, flag=1, how="gone")
    assert "1 hood" in refused("inspection.finished", corin, job)
    done("inspection.checked", corin, job, cut=hood.pk)
    assert Check.objects.count() == 3
    done("inspection.finished", corin, job)
    flag.refresh_from_db()
    assert (flag.ended_how, flag.ended_by, flag.mended_by) == ("gone", corin, ines)
    assert flag.mended_how == "pressed down by Ines: warmed and pressed"
    assert Step.objects.get(job=job, kind=Kind.INSPECT).state == Step.State.DONE


def test_an_inspector_who_mends_inspects_no_more(
    ines: Person, corin: Person, odile: Person
) -> None:
    job, (hood, roof) = all_laid(ines)
    done("inspection.begun", corin, job)
    done("inspection.checked", corin, job, cut=roof.pk)
    flag_on(job, hood, corin, remedy="press")
    says = done("inspection.mended", corin, job, flag=1)
    assert "Corin mended some of it and so inspects no more" in says
    refused("inspection.ended-flag", corin, job, flag=1, how="gone")
    assert "Corin had 1 hood" in refused("inspection.begun", corin, job)
    done("inspection.begun", odile, job)
    done("inspection.ended-flag", odile, job, flag=1, how="gone")
    done("inspection.checked", odile, job, cut=hood.pk)
    # What Corin looked at before he touched anything stands.
    done("inspection.finished", odile, job)


def test_an_inspector_who_lays_the_new_film_inspects_no_more(
    ines: Person, corin: Person, odile: Person
) -> None:
    job, (hood, _) = all_laid(ines)
    done("inspection.begun", corin, job)
    flag_on(job, hood, corin, remedy="remake")
    fresh = new_film(hood)
    done("laying.began", corin_installs(corin), job, cut=fresh.pk)
    assert "Corin had 1 hood" in refused("inspection.checked", corin, job, cut=hood.pk)


def corin_installs(corin: Person) -> Person:
    corin.role = Role.INSTALLER
    corin.save()
    return corin


def test_a_remake_ends_with_the_new_film_checked(ines: Person, corin: Person) -> None:
    job, (hood, roof) = all_laid(ines)
    done("inspection.begun", corin, job)
    done("inspection.checked", corin, job, cut=roof.pk)
    other = flag_on(job, hood, corin, kind="lifted edge", remedy="press")
    flag = flag_on(job, hood, corin, kind="dirt under film", remedy="remake")
    hood.refresh_from_db()
    assert (hood.state, hood.lost_because) == (Cut.State.LOST, "flag 2, dirt under film")
    assert [piece.number for piece in to_lay_out(job)] == [1]
    for number in (1, 2):
        assert "when the new piece is laid" in refused("inspection.mended", ines, job, flag=number)
        assert "came off" in refused(
            "inspection.ended-flag", corin, job, flag=number, how="no fault", because="so"
        )
    fresh = new_film(hood)
    done("laying.began", ines, job, cut=fresh.pk)
    done("laying.ended", ines, job, cut=fresh.pk)
    for row in (flag, other):
        row.refresh_from_db()
        assert (row.state, row.replaced_by, row.mended_by) == (Flag.State.MENDED, fresh, ines)
    refused("inspection.finished", corin, job)
    done("inspection.ended-flag", corin, job, flag=1, how="gone")
    done("inspection.ended-flag", corin, job, flag=2, how="gone")
    assert "1 hood" in refused("inspection.finished", corin, job)
    done("inspection.checked", corin, job, cut=fresh.pk)
    done("inspection.finished", corin, job)
    flag.refresh_from_db()
    assert flag.ended_how == "made anew"


def test_taking_the_new_film_back_opens_its_flags_again(ines: Person, corin: Person) -> None:
    job, (hood, _) = all_laid(ines)
    flag = flag_on(job, hood, corin, remedy="remake")
    fresh = new_film(hood)
    done("laying.began", ines, job, cut=fresh.pk)
    done("laying.ended", ines, job, cut=fresh.pk)
    done("laying.undone", ines, job, cut=fresh.pk)
    flag.refresh_from_db()
    assert (flag.state, flag.replaced_by, flag.mended_by) == (Flag.State.OPEN, None, None)
    done("laying.ended", ines, job, cut=fresh.pk)
    done("inspection.begun", corin, job)
    done("inspection.ended-flag", corin, job, flag=1, how="gone")
    assert "was inspected since" in refused("laying.undone", ines, job, cut=fresh.pk)


def test_what_was_inspected_is_not_taken_back(ines: Person, corin: Person) -> None:
    job, (hood, roof) = all_laid(ines)
    done("inspection.begun", corin, job)
    done("inspection.checked", corin, job, cut=hood.pk)
    flag_on(job, roof, corin)
    for cut in (hood, roof):
        assert "was inspected since" in refused("laying.undone", ines, job, cut=cut.pk)


def test_water_pockets_wait_and_air_does_not(ines: Person, corin: Person) -> None:
    """Common practice, no source: small water pockets clear, air and dirt never do."""
    job, (hood, _) = all_laid(ines)
    done("inspection.begun", corin, job)
    for kind in ("air bubble", "dirt under film", "lifted edge"):
        fields = {"cut": hood.pk, "kind": kind, "remedy": "wait"}
        assert "does not clear by waiting" in refused("inspection.flagged", corin, job, **fields)
    flag_on(job, hood, corin, kind="water pocket", remedy="wait")
    assert "left to clear" in refused("inspection.mended", ines, job, flag=1)
    assert "is open" in refused("inspection.ended-flag", corin, job, flag=1, how="gone")
    done("inspection.ended-flag", corin, job, flag=1, how="noted")
    assert open_flags(job) == []
    assert Flag.objects.get().ended_how == "noted, seen at the follow-up"
    flag_on(job, hood, corin, kind="air bubble", remedy="press")
    assert "is to be mended" in refused("inspection.ended-flag", corin, job, flag=2, how="noted")
    assert "does not clear" in refused("inspection.remedy", corin, job, flag=2, remedy="wait")


def test_no_fault_needs_a_reason_and_the_inspector(ines: Person, corin: Person) -> None:
    job, (hood, _) = all_laid(ines)
    flag_on(job, hood, corin, kind="edge out of true")
    agreed = {"flag": 1, "how": "no fault", "because": "the seam was agreed"}
    refused("inspection.ended-flag", ines, job, **agreed)
    done("inspection.begun", corin, job)
    refused("inspection.ended-flag", ines, job, **agreed)
    assert "Say why" in refused("inspection.ended-flag", corin, job, flag=1, how="no fault")
    assert "Choose how" in refused("inspection.ended-flag", corin, job, flag=1, how="")
    done("inspection.ended-flag", corin, job, **agreed)
    assert Flag.objects.get().ended_how == "no fault: the seam was agreed"
    assert "ended by Corin already" in refused("inspection.ended-flag", corin, job, **agreed)


def test_a_flag_that_is_still_there_is_open_again(ines: Person, corin: Person) -> None:
    job, (hood, _) = all_laid(ines)
    done("inspection.begun", corin, job)
    flag = flag_on(job, hood, corin, remedy="press")
    assert "comes first" in refused("inspection.still-there", corin, job, flag=1, remedy="relay")
    done("inspection.mended", ines, job, flag=1)
    refused("inspection.still-there", ines, job, flag=1, remedy="relay")
    done("inspection.still-there", corin, job, flag=1, remedy="relay")
    flag.refresh_from_db()
    assert (flag.state, flag.remedy, flag.mended_by) == (Flag.State.OPEN, "relay", None)
    done("inspection.remedy", ines, job, flag=1, remedy="remake")
    hood.refresh_from_db()
    assert hood.state == Cut.State.LOST
    fresh = new_film(hood)
    done("laying.began", ines, job, cut=fresh.pk)
    done("laying.ended", ines, job, cut=fresh.pk)
    done("inspection.still-there", corin, job, flag=1, remedy="press")
    flag.refresh_from_db()
    assert (flag.cut, flag.replaced_by, flag.x_mm) == (fresh, None, None)


def test_a_flag_after_the_check_brings_the_job_back(ines: Person, corin: Person) -> None:
    job, (hood, roof) = all_laid(ines)
    done("inspection.begun", corin, job)
    done("inspection.checked", corin, job, cut=hood.pk)
    done("inspection.checked", corin, job, cut=roof.pk)
    done("inspection.finished", corin, job)
    assert job.stage == Stage.CHECKED
    assert "The job is checked" in refused("laying.remake", ines, job, cut=hood.pk, because="x y")
    assert "The job is checked" in refused("inspection.begun", corin, job)
    # Even whoever laid it may say what he sees.
    flag_on(job, hood, ines, kind="water pocket", remedy="wait")
    assert job.stage == Stage.BAY
    assert Step.objects.get(job=job, kind=Kind.INSPECT).state == Step.State.BEGUN
    done("inspection.begun", corin, job)
    done("inspection.ended-flag", corin, job, flag=1, how="noted")
    done("inspection.finished", corin, job)
    assert job.stage == Stage.CHECKED
    Job.objects.filter(pk=job.pk).update(stage=Stage.HANDED)
    fields = {"cut": hood.pk, "kind": "finger", "remedy": "press"}
    assert "stands at “Handed back”" in refused("inspection.flagged", corin, job, **fields)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "gremlin"}, "what kind"),
        ({"remedy": "pray"}, "what is to be done"),
        ({"remedy": ""}, "what is to be done"),
        ({"x_mm": "3"}, "half of it is missing"),
        ({"x_mm": "1e9", "y_mm": "3"}, "not on the piece"),
        ({"x_mm": "nan", "y_mm": "3"}, "as a number"),
        ({"x_mm": "inf", "y_mm": "3"}, "as a number"),
        ({"size_mm": "-1"}, "more than 0"),
        ({"size_mm": "a thumb"}, "as a number"),
    ],
)
def test_odd_flags_are_refused_and_leave_nothing(
    ines: Person, corin: Person, fields: dict[str, str], words: str
) -> None:
    job, (hood, _) = all_laid(ines)
    asked = {"cut": hood.pk, "kind": "finger", "remedy": "relay", **fields}
    assert words in refused("inspection.flagged", corin, job, **asked)
    assert not Flag.objects.exists()
    assert Laying.objects.count() == 2


def test_a_clock_that_was_set_back_ends_nothing_before_it_began(
    ines: Person, corin: Person
) -> None:
    job, _ = all_laid(ines)
    now = timezone.now()
    found = doing.begin(job, own_work_because="", takes_over=False, who=corin, at=now)
    doing.leave(job, who=corin, at=now - datetime.timedelta(hours=3))
    found.refresh_from_db()
    assert found.ended_at == found.began_at


def test_a_look_that_comes_in_late_is_not_taken_for_a_later_one(
    ines: Person, corin: Person
) -> None:
    """A tablet kept it; meanwhile the film was pressed down."""
    job, (hood, _) = all_laid(ines)
    done("inspection.begun", corin, job)
    flag = flag_on(job, hood, corin, remedy="press")
    before = timezone.now()
    done("inspection.mended", ines, job, flag=1)
    flag = job.flags.select_related("cut__piece", "replaced_by").get(pk=flag.pk)
    with pytest.raises(InputError, match="was touched after you looked"):
        doing.check(job, hood, who=corin, at=before)
    with pytest.raises(InputError, match="was mended after you looked"):
        ending.end_gone(flag, who=corin, at=before)
    with pytest.raises(InputError, match="was mended after you looked"):
        ending.still_there(flag, Flag.Remedy.RELAY, who=corin, at=before)
    assert not Check.objects.exists()
    ending.end_gone(flag, who=corin, at=timezone.now())


def test_film_in_hand_that_comes_in_late_undoes_what_its_layer_looked_at(
    ines: Person, corin: Person
) -> None:
    """He laid the new film before he looked at the rest; the tablet told of it afterwards."""
    job, (hood, roof) = all_laid(ines)
    corin_installs(corin)
    done("inspection.begun", corin, job)
    flag_on(job, hood, corin, remedy="remake")
    fresh = new_film(hood)
    at = timezone.now()
    done("inspection.checked", corin, job, cut=roof.pk)
    fresh = the_cut(job, str(fresh.pk))
    hands_on.begin(job, fresh, hands=[corin], who=corin, at=at)
    hands_on.end(job, fresh, hard="", picture=None, who=corin, at=at)
    assert "2 pieces are not checked" in is_checked(job)


def test_what_is_made_anew_rests_too_before_the_inspection_ends(
    ines: Person, corin: Person
) -> None:
    job, cuts = all_laid(ines)
    for place, (key, kind, needs, rest_s) in enumerate(
        [("rest", Kind.REST, "lay", 3600), ("heat-edges", Kind.EDGES, "rest", 0)], start=20
    ):
        Step.objects.create(
            job=job,
            key=key,
            title=key.capitalize(),
            position=place,
            kind=kind,
            zone="paint",
            needs=[needs],
            rest_s=rest_s,
            state=Step.State.DONE,
            began_at=timezone.now(),
            ended_at=timezone.now(),
        )
    Step.objects.filter(job=job, kind=Kind.INSPECT).update(needs=["lay", "heat-edges"])
    done("inspection.begun", corin, job)
    done("inspection.flagged", corin, job, cut=cuts[0].pk, kind="dirt under film", remedy="remake")
    edges = Step.objects.get(job=job, key="heat-edges")
    assert (edges.state, edges.ended_at) == (Step.State.OPEN, None)
    new = Cut.objects.create(
        section=cuts[0].section,
        piece=cuts[0].piece,
        number=cuts[0].number,
        attempt=2,
        state=Cut.State.WEEDED,
    )
    done("laying.began", ines, job, cut=new.pk, people=ines.pk)
    done("laying.ended", ines, job, cut=new.pk)
    for cut in (new, *cuts[1:]):
        done("inspection.checked", corin, job, cut=cut.pk)
    done("inspection.ended-flag", corin, job, flag=1, how="gone")
    # Common practice, no source: film rests before its edges are heated, whenever it was laid.
    assert "rest" in refused("gates.done", ines, job, step="heat-edges").lower()
    assert "heat-edges" in refused("inspection.finished", corin, job).lower()
