"""Bent against a drift once, whoever presses how often; by the newest that was read, from straight.

What is right is worked out here by `bent_section` from the straight programs, which its own tests
judge on a film that slips.
"""

from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.test import Client
from django.utils import timezone

from layflat.base import InputError, silent
from layflat.cut import Slip, bent_section, read_hpgl
from layflat.web.cutting.models import Layout, Section
from layflat.web.people.models import Role
from layflat.web.sending import correcting, prepared
from layflat.web.sending.models import Machine, Prepared, Reading
from layflat.web.sending.prepared import made_of
from layflat.web.sending.values import read_values
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import find
from web.bayed import a_roll
from web.cutting import patterned
from web.cutting.patterned import PATTERNS, a_job, to_be_cut, turned
from web.sending.machined import a_machine, asked
from web.sending.test_drill import at, post, program
from web.sending.test_marks import SignedIn, typed, with_marks

BEND = "Bend the sections that follow against it"
AS_THIS = "Make the sections that follow as this one"


@pytest.fixture
def layout(signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch) -> Layout:
    """One of three sections, made with witness marks for the shop's machine."""
    monkeypatch.setattr("layflat.web.cutting.starting.MAX_SECTION_MM", 560.0)
    more = {name: turned(PATTERNS["door-left"], name) for name in ("door-right", "roof")}
    monkeypatch.setattr(patterned, "PATTERNS", {**PATTERNS, **more})
    job, _ = a_job("2031-0042", "hood", "door-left", "door-right", "roof")
    layout = to_be_cut(job, a_roll(length_mm=9000, lot="LW-marks"))
    a_machine(answers_position=False)
    with_marks(section_of(layout, 1), signed_in(Role.INSTALLER), Machine.objects.get().pk)
    return layout


def section_of(layout: Layout, number: int) -> Section:
    rows = Section.objects.select_related("layout__job", "layout__roll", "program")
    return rows.get(layout=layout, number=number)


def programs(layout: Layout) -> list[bytes]:
    return [program(section_of(layout, row.number)) for row in layout.sections.all()]


def read(browser: Client, layout: Layout, number: int, along: float, across: float = 0.0) -> str:
    section = section_of(layout, number)
    return post(browser, section, "read/", **typed(section, along, across=across))


def run_all() -> None:
    """Run the corrections that were asked for, as a worker would."""
    for row in Computation.objects.filter(task=correcting.TASK, state=State.OPEN):
        find(row.task).run(row.inputs, silent)
        Computation.objects.filter(pk=row.pk).update(state=State.DONE, ended_at=row.asked_at)


def bend(browser: Client, layout: Layout, number: int) -> str:
    said = post(browser, section_of(layout, number), "correct/")
    run_all()
    return said


def shown(browser: Client, layout: Layout, number: int) -> str:
    return browser.get(at(section_of(layout, number))).content.decode()


def test_the_newest_reading_takes_the_place_of_the_one_before(
    layout: Layout, signed_in: SignedIn
) -> None:
    ines, straight = signed_in(Role.INSTALLER), programs(layout)
    assert len(straight) == 3
    assert BEND in read(ines, layout, 1, -0.006)
    bend(ines, layout, 1)
    bent = programs(layout)
    assert bent[0] == straight[0]
    assert bent[1] != straight[1]
    assert bent[2] != straight[2]
    # It is done, and is not offered once more; nor does reading the same again offer it.
    assert BEND not in shown(ines, layout, 1)
    assert BEND not in read(ines, layout, 1, -0.006)
    assert "they are made so already" in bend(ines, layout, 1)
    assert programs(layout) == bent
    assert BEND in read(ines, layout, 1, -0.004)
    bend(ines, layout, 1)
    assert programs(layout)[1:] != bent[1:]
    read(ines, layout, 1, -0.006)
    bend(ines, layout, 1)
    assert programs(layout) == bent
    # Marks that were typed wrong, and are read again, take the bending back.
    assert AS_THIS in read(ines, layout, 1, 0.0)
    bend(ines, layout, 1)
    assert programs(layout) == straight
    assert AS_THIS not in shown(ines, layout, 1)


@pytest.mark.on_sqlite
def test_a_correction_that_runs_a_second_time_changes_nothing(
    layout: Layout, signed_in: SignedIn
) -> None:
    ines = signed_in(Role.INSTALLER)
    read(ines, layout, 1, -0.006)
    bend(ines, layout, 1)
    bent = programs(layout)
    first = Computation.objects.get(task=correcting.TASK)
    find(correcting.TASK).run(first.inputs, silent)
    assert programs(layout) == bent
    read(ines, layout, 1, -0.004)
    bend(ines, layout, 1)
    bent = programs(layout)
    find(correcting.TASK).run(first.inputs, silent)
    assert programs(layout) == bent


@pytest.mark.on_sqlite
def test_what_is_read_at_a_bent_section_is_added_to_what_it_was_bent_against(
    layout: Layout, signed_in: SignedIn
) -> None:
    ines, straight = signed_in(Role.INSTALLER), programs(layout)
    read(ines, layout, 1, -0.004)
    bend(ines, layout, 1)
    cut = programs(layout)
    Section.objects.filter(layout=layout, number=1).update(state=Section.State.CUT)
    assert BEND in read(ines, layout, 2, -0.004, 0.003)
    bend(ines, layout, 2)
    assert programs(layout)[:2] == cut[:2]
    last = section_of(layout, 3)
    slip = Slip(fed=np.array([-0.008, 0.003]), travelled=np.zeros(2))
    machine = read_values(last.prepared.machine)
    wanted = bent_section(made_of(last.prepared.made, straight[2].decode()), slip, machine)
    for one, other in zip(read_hpgl(program(last).decode()), read_hpgl(wanted.hpgl), strict=True):
        # Readings are typed to a hundredth.
        assert np.abs(one.points_mm - other.points_mm).max() < 0.1
    # Section 2 knows the film of section 3 better than section 1 does.
    Section.objects.filter(layout=layout, number=1).update(state=Section.State.OPEN)
    assert BEND not in read(ines, layout, 1, -0.006)


@pytest.mark.on_sqlite
def test_programs_made_anew_are_not_bent_by_what_was_read_before(
    layout: Layout, signed_in: SignedIn
) -> None:
    ines, straight = signed_in(Role.INSTALLER), programs(layout)
    read(ines, layout, 1, -0.006)
    bend(ines, layout, 1)
    assert BEND in read(ines, layout, 1, -0.004)
    post(ines, section_of(layout, 1), "correct/")
    Computation.objects.filter(task=prepared.TASK).delete()
    machine = Machine.objects.get().pk
    with_marks(section_of(layout, 1), ines, machine)
    assert programs(layout) == straight
    assert BEND not in shown(ines, layout, 1)
    with pytest.raises(InputError, match="not those of these programs"):
        run_all()
    assert programs(layout) == straight
    assert BEND in read(ines, layout, 1, -0.004)


@pytest.mark.on_sqlite
def test_a_section_is_not_sent_while_it_is_being_bent(layout: Layout, signed_in: SignedIn) -> None:
    ines = signed_in(Role.INSTALLER)
    read(ines, layout, 1, -0.006)
    post(ines, section_of(layout, 1), "correct/")
    page = shown(ines, layout, 1)
    assert "The sections that follow are being bent," in page
    assert BEND not in page
    page = shown(ines, layout, 2)
    assert "Section 2 is being bent against a drift" in page
    assert "Send section 2" not in page
    with pytest.raises(InputError, match="is being bent"):
        asked(section_of(layout, 2), Machine.objects.get())
    words = "bent against the drift, the cut would still lie 0.30 mm from its line"
    Computation.objects.filter(task=correcting.TASK).update(
        state=State.FAILED, error=words, ended_at=timezone.now()
    )
    assert words in shown(ines, layout, 1)
    assert BEND in shown(ines, layout, 1)
    assert "Send section 2" in shown(ines, layout, 2)


@pytest.mark.on_sqlite
def test_a_section_that_is_ticked_meanwhile_ends_the_correction(
    layout: Layout, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    ines, before = signed_in(Role.INSTALLER), programs(layout)
    read(ines, layout, 1, -0.006)
    post(ines, section_of(layout, 1), "correct/")

    def bent(*given: Any) -> Any:
        Section.objects.filter(layout=layout, number=2).update(state=Section.State.CUT)
        return bent_section(*given)

    monkeypatch.setattr(correcting, "bent_section", bent)
    with pytest.raises(InputError, match="meanwhile"):
        run_all()
    assert programs(layout) == before
    assert not Prepared.objects.filter(bent_by__isnull=False).exists()


@pytest.mark.on_sqlite
def test_what_cannot_be_bent_is_said_before_it_is_asked_for(
    layout: Layout, signed_in: SignedIn
) -> None:
    """Along the roll the marks' row begins close to the section's start."""
    ines = signed_in(Role.INSTALLER)
    said = read(ines, layout, 1, 0.015)
    assert "Stop: the film drifts by +15" in said
    assert "section 2 cannot be bent against it, since the head would have to go" in said
    assert BEND not in said
    assert AS_THIS not in said


@pytest.mark.django_db(transaction=True)
def test_what_was_bent_before_is_never_bent_once_more(layout: Layout, signed_in: SignedIn) -> None:
    """Programs from before anybody kept their straight ones: which, the migration finds out."""
    ines = signed_in(Role.INSTALLER)
    read(ines, layout, 1, -0.006)
    bend(ines, layout, 1)
    Computation.objects.filter(task=correcting.TASK).update(attempts=1)
    leaves = MigrationExecutor(connection).loader.graph.leaf_nodes()
    try:
        MigrationExecutor(connection).migrate([("sending", "0001_initial")])
    finally:
        MigrationExecutor(connection).migrate(leaves)
    assert not Reading.objects.filter(against__isnull=False).exists()
    known = Prepared.objects.filter(bent_by=Reading.objects.get())
    assert set(known.values_list("section__number", flat=True)) == {2, 3}
    bent = programs(layout)
    said = read(ines, layout, 1, -0.004)
    assert "section 2 was bent before, and against what is not known any more" in said
    assert BEND not in said
    assert "section 2 was bent before" in read(ines, layout, 2, -0.004)
    assert "nothing to correct" in bend(ines, layout, 1)
    assert programs(layout) == bent
