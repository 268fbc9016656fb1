"""Programs for a machine with witness marks, and what is read off them.

The drift is made here, by hand: a film that slips by so much for each millimetre fed shows, at
every mark, that rate times the feed since the mark was made.
"""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from layflat.base import silent
from layflat.cut import read_hpgl
from layflat.web.cutting.models import Section
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from layflat.web.sending import correcting, prepared
from layflat.web.sending.models import Machine, Prepared, Reading, Sending
from layflat.web.sending.readings import marks_of
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import find
from web.bayed import a_roll
from web.cutting.patterned import a_job, to_be_cut
from web.sending.machined import a_machine, asked, done
from web.sending.test_drill import at, post, program

pytestmark = pytest.mark.on_sqlite

SignedIn = Callable[[Role], Client]


def computed(task: str) -> None:
    row = Computation.objects.get(task=task)
    find(task).run(row.inputs, silent)
    Computation.objects.filter(pk=row.pk).update(state=State.DONE, ended_at=row.asked_at)


@pytest.fixture
def section(signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch) -> Section:
    """The first of two sections, made with witness marks for a machine of the shop."""
    monkeypatch.setattr("layflat.web.cutting.starting.MAX_SECTION_MM", 560.0)
    job, _ = a_job("2031-0042", "hood", "mirror-left", "door-left")
    layout = to_be_cut(job, a_roll(length_mm=9000, lot="LW-marks"))
    first = layout.sections.select_related("layout__job", "layout__roll", "program").first()
    assert first is not None
    a_machine(answers_position=False)
    return first


def with_marks(section: Section, browser: Client, machine: int, **more: str) -> str:
    wanted = {"marks": "yes", "every": "200"} | more
    said = post(browser, section, "prepare/", machine=machine, **wanted)
    page = browser.get(at(section)).content.decode()
    assert "The programs are being made," in page
    assert "Send section 1" not in page
    computed(prepared.TASK)
    section.refresh_from_db()
    return said


def typed(section: Section, rate: float, *, across: float = 0.0) -> dict[str, str]:
    """What a loupe reads of a film that slips by *rate* along for each mm fed."""
    marks = marks_of(Prepared.objects.get(section=section))
    return {
        f"{axis}-{i}": f"{value * mark['fed_mm']:.2f}"
        for i, mark in enumerate(marks)
        for axis, value in (("dx", rate), ("dy", across))
    }


def test_marks_are_made_read_and_judged(section: Section, signed_in: SignedIn) -> None:
    ines, machine = signed_in(Role.INSTALLER), Machine.objects.get()
    plain = program(section)
    page = ines.get(at(section)).content.decode()
    assert "Witness marks" not in page.replace("with witness marks", "")
    assert "weed lines and" not in page
    assert "after 50 to 10 000 mm" in post(
        ines, section, "prepare/", machine=machine.pk, marks="yes", every="7"
    )
    assert "Strips of waste are 50 mm to 5000 mm wide" in post(
        ines, section, "prepare/", machine=machine.pk, lines="yes", strip="9"
    )
    for fields, words in (
        ({"hold": "tabs", "tabs": "0", "tab": "1"}, "Give 1 to 24 tabs for each piece."),
        ({"hold": "tabs", "tabs": "many", "tab": "1"}, "Give 1 to 24 tabs for each piece."),
        ({"hold": "tabs", "tabs": "4", "tab": "70"}, "A tab is 0.2 mm to 10 mm long."),
        ({"hold": "hinge", "hinge": "1"}, "A hinge is 5 mm to 300 mm long."),
    ):
        assert words in post(ines, section, "prepare/", machine=machine.pk, **fields)
    tabs = {"hold": "tabs", "tabs": "3", "tab": "1,5"}
    with_marks(section, ines, machine.pk, lines="yes", strip="100", **tabs)
    kinds = [cut["kind"] for cut in Prepared.objects.get(section=section).made["cuts"]]
    assert {"weed line", "witness"} <= set(kinds)
    bridges = Prepared.objects.get(section=section).made["bridges"]
    assert {bridge["length_mm"] for bridge in bridges} == {1.5}
    said = "with witness marks, weed lines and bridges that hold the pieces."
    assert said in ines.get(at(section)).content.decode()
    assert "The programs are being made" not in ines.get(at(section)).content.decode()
    marked = program(section)
    assert marked != plain
    assert len(read_hpgl(marked.decode(), units_per_mm=40.0)) > len(
        read_hpgl(plain.decode(), units_per_mm=40.0)
    )
    marks = marks_of(Prepared.objects.get(section=section))
    assert marks
    page = ines.get(at(section)).content.decode()
    assert "Witness marks" in page
    for mark in marks:
        assert f"<b>{mark['name']}</b>" in page
    for fields, words in (
        ({}, "Write at least one mark"),
        ({"dx-0": "0.1"}, "only one of the two lengths"),
        ({"dx-0": "much", "dy-0": "0"}, "“much” is no length"),
        ({"dx-0": "nan", "dy-0": "0"}, "is no mismatch of a mark"),
        ({"dx-0": "12", "dy-0": "0"}, "nobody can tell which cross"),
    ):
        assert words in post(ines, section, "read/", **fields)
    assert not Reading.objects.exists()
    said = post(ines, section, "read/", **typed(section, 0.0))
    assert Reading.objects.get().verdict == "go on"
    assert "Go on: the film drifts by +0.00 mm along" in said
    assert Event.objects.filter(kind="sending.read", job=section.layout.job).count() == 1


def test_a_drift_is_bent_against_in_the_sections_that_follow(
    section: Section, signed_in: SignedIn
) -> None:
    ines, machine = signed_in(Role.INSTALLER), Machine.objects.get()
    with_marks(section, ines, machine.pk)
    behind = section.layout.sections.select_related("program").filter(number__gt=1)
    assert behind.exists()
    before = {row.number: program(row) for row in behind}
    post(ines, section, "read/", **typed(section, 0.004))
    reading = Reading.objects.get()
    assert reading.verdict == "correct", reading.sentence
    assert re.search(r"drifts by \+[34]\.\d\d mm along", reading.sentence)
    post(ines, section, "correct/")
    computed(correcting.TASK)
    own = program(Section.objects.select_related("program").get(pk=section.pk))
    assert own == program(section)
    for row in behind.all():
        assert program(row) != before[row.number]


def test_programs_stay_once_a_section_was_sent(section: Section, signed_in: SignedIn) -> None:
    ines, machine = signed_in(Role.INSTALLER), Machine.objects.get()
    asked(section, machine)
    Sending.objects.update(state=Sending.State.STOPPED)
    said: Any = post(ines, section, "prepare/", machine=machine.pk)
    assert "was sent; the programs of the others stay" in said
    Sending.objects.update(state=Sending.State.REFUSED)
    with_marks(section, ines, machine.pk)
    assert done(asked(section, machine)).state == Sending.State.REFUSED  # nobody is there
