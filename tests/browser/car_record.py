"""What the database must hold when a car of the story has been handed back."""

from django.db.models import Sum

from layflat.web.cutting.models import Cut, Section
from layflat.web.gates.models import Dwell, Step
from layflat.web.inspection.models import Check, Flag
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying.models import Laying
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from layflat.web.stock.models import Movement, Roll
from layflat.web.taps.models import Tap


def the_record_holds(number: str, *, lot: str, length_mm: int) -> None:
    """What must be true of the rows when all is over."""
    roll = Roll.objects.get(lot=lot)
    sections = Section.objects.filter(layout__job__number=number)
    taken = {f"section {one.pk}": -one.film_mm for one in sections}
    moved = list(roll.movements.exclude(kind=Movement.Kind.RECEIVED))
    assert {one.source: one.delta_mm for one in moved} == taken
    assert len(moved) == 3
    assert roll.left_mm == roll.movements.aggregate(sum=Sum("delta_mm"))["sum"]
    assert roll.left_mm == length_mm + sum(taken.values())
    states = [cut.state for cut in Cut.objects.filter(section__in=sections)]
    assert sorted(states) == ["laid", "laid", "lost", "lost"]
    # Each tap once, in the order of its tablet; each step begun and done once, but for those that
    # follow from a piece that was made anew.
    taps = list(Tap.objects.filter(job__number=number).order_by("pk"))
    for device in {tap.device_id for tap in taps}:
        numbers = [tap.number for tap in taps if tap.device_id == device]
        assert numbers == list(range(1, len(numbers) + 1)), (device, numbers)
    refused = [tap.act for tap in taps if tap.state == Tap.State.REFUSED]
    assert refused == ["gates.begin", "gates.take-tool", "inspection.begun"]
    for kind in ("gates.begun", "gates.done"):
        events = Event.objects.filter(job__number=number, kind=kind)
        told = [(event.after or {})["step"] for event in events]
        twice = {key for key in told if told.count(key) > 1}
        rest = {"rest"} if kind == "gates.done" else set()
        assert twice == {"lay", "heat-edges"} | rest
        assert all(told.count(key) == 2 for key in twice)
    steps = Step.objects.filter(job__number=number)
    assert set(steps.exclude(key="tar-and-glue").values_list("state", flat=True)) == {"done"}
    covered, iron = (steps.get(key=key) for key in ("cover-brakes", "iron-removal"))
    assert covered.ended_at is not None
    assert iron.began_at is not None
    assert covered.ended_at <= iron.began_at
    assert Dwell.objects.filter(step__in=steps, was_late=False, was_short=False).count() == 2
    # Nobody checked what anybody laid with own hands.
    layings = Laying.objects.filter(cut__section__in=sections)
    assert layings.count() == 3
    hands = {person for laying in layings for person in laying.people.all()}
    assert {person.role for person in hands} == {Role.OWNER, Role.INSTALLER}
    checks = Check.objects.filter(cut__section__in=sections, stale_at=None)
    assert {check.cut.state for check in checks} == {"laid"}
    assert checks.count() == 2
    assert not {check.round.inspector for check in checks} & hands
    assert {check.round.own_work_because for check in checks} == {""}
    flag = Flag.objects.get(job__number=number)
    assert (flag.state, flag.replaced_by_id) in [
        (Flag.State.ENDED, check.cut_id) for check in checks
    ]
    assert flag.ended_by not in hands
    assert Job.objects.get(number=number).stage == Stage.HANDED
