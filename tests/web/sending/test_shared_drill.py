"""Power lost in the middle of a section that two jobs share: both get back what they lost."""

from collections.abc import Callable

import pytest
from django.db import transaction
from django.test import Client

from layflat.web.cutting.leaving import leave
from layflat.web.cutting.models import Cut, Section, called
from layflat.web.cutting.pool import to_lay_out
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.sending.models import Prepared, Sending
from layflat.web.stock.models import Movement
from send.programs import drawn
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, shared
from web.cutting.test_ticks import went_in
from web.sending.machined import a_machine
from web.sending.test_drill import (
    LENGTH_MM,
    at,
    left,
    on_film,
    passport_of,
    post,
    power_lost,
    program,
)

SignedIn = Callable[[Role], Client]


@pytest.mark.on_sqlite
def test_both_jobs_recover(signed_in: SignedIn) -> None:
    jobs = [a_job("2031-0042", "door-left", "hood")[0], a_job("2031-0043", "hood")[0]]
    section = only_section(shared(jobs, a_roll(length_mm=LENGTH_MM)))
    roll = section.layout.roll
    sending, plotter = power_lost(section, a_machine(), stroke=len(drawn(program(section))) - 2)
    assert sending.state == Sending.State.BROKEN
    names = {one["name"].partition(" of ")[2] for one in sending.cuts if one["piece"]}
    assert names == {"A1 door-left", "A2 hood", "B1 hood"}
    true = on_film(section, plotter)
    assert set(true) == {1001, 1002, 2001}
    assert len(set(true.values())) > 1
    ines = signed_in(Role.INSTALLER)
    page = ines.get(at(section)).content.decode()
    assert all(f">{called(number)}<" in page for number in true)
    seen = {f"piece-{n}": "whole" if state == "whole" else "lost" for n, state in true.items()}
    fields = {"seen": 1, "looked": "yes", "reason": "stop", "film": section.film_mm}
    assert "is spoiled" in post(ines, section, "looked-at/", **fields, **seen)
    again = {
        f"{letter}{piece.number}"
        for letter, job in zip("AB", jobs, strict=True)
        for piece in to_lay_out(job)
    }
    assert again == {called(number) for number, state in true.items() if state != "whole"}
    # Its film is gone once, borne by both; the one with more film in pieces bears more.
    assert left(roll) == LENGTH_MM - section.film_mm
    borne = [
        -sum(Movement.objects.filter(job=job).values_list("delta_mm", flat=True)) for job in jobs
    ]
    assert borne[0] > borne[1] > 0
    assert sum(borne) == section.film_mm
    for job in jobs:
        words = " ".join(Event.objects.filter(job=job).values_list("sentence", flat=True))
        assert "Looked at after sending section 1 of layout 1" in words
        passport = passport_of(job)
        pieces = passport["pieces"] + passport["lost"]
        assert {piece["lot"] for piece in pieces} <= {roll.lot}
        own = Cut.objects.filter(piece__outcome__cover__job=job).count()
        assert len(pieces) == own
    assert Prepared.objects.get(section=section).made["pieces"]


@pytest.mark.on_sqlite
def test_a_section_that_was_sent_stays_though_its_job_leaves(people: dict[Role, Person]) -> None:
    jobs = [a_job("2031-0042", "hood")[0], a_job("2031-0043", "door-left", "hood")[0]]
    layout = shared(jobs, a_roll(length_mm=LENGTH_MM), ends=[1])
    sections = layout.sections.select_related("layout__job", "layout__roll")
    section = sections.get(number=2)
    power_lost(section, a_machine(), stroke=len(drawn(program(section))) - 2)
    with transaction.atomic():
        leave(layout, jobs[1], because="it was sent back")
    # Film of it is gone: a person says how much.
    assert sections.get(number=2).state == Section.State.OPEN
    assert not Cut.objects.filter(section=section).exists()
    ines = people[Role.INSTALLER]
    fields = {"section": section.pk, "reason": "stop", "lost": "", "film": 300}
    assert "0.300 m of R1 lost." in went_in(jobs[0], "section-spoiled", ines, **fields)
    assert sections.get(number=2).state == Section.State.SPOILED
    assert left(layout.roll) == LENGTH_MM - 300
