"""Faults, their withdrawal, the gate, and pages with much on them."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.messages import get_messages
from django.test import Client
from django.utils import timezone

from layflat.base import InputError
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.jobs.kinds import KINDS
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.jobs.outline import PANELS, VIEWS, is_view, mirrored
from layflat.web.jobs.walk_round import Seen, acknowledge, add_fault, gate
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
Sent = Callable[..., dict[str, Any]]


def told(answer: Any) -> list[str]:
    return [str(message) for message in get_messages(answer.wsgi_request)]


def test_a_withdrawn_fault_keeps_its_number_and_can_be_restored(
    signed_in: Browser, sent: Sent, on_walk: Job
) -> None:
    installer, at = signed_in(Role.INSTALLER), f"/jobs/{on_walk.number}/"
    for kind in ("chip", "repaint"):
        installer.post(at + "faults/", sent(kind=kind, panel="Hood"))
    refused = installer.post(at + "faults/2/withdraw/", sent(reason="  "))
    assert any("Say why" in sentence for sentence in told(refused))
    installer.post(at + "faults/2/withdraw/", sent(reason="a reflection"))
    page = installer.get(at + "walk-round/").content.decode()
    assert "Withdrawn: a reflection" in page
    assert gate(on_walk, on_walk.faults.all()).is_open
    installer.post(at + "faults/", sent(kind="dent", panel="Roof"))
    assert [(fault.number, fault.is_withdrawn) for fault in on_walk.faults.all()] == [
        (1, False),
        (2, True),
        (3, False),
    ]
    # The history offers the way back, and takes it.
    history = installer.get(at + "history/").content.decode()
    assert f'action="{at}faults/2/restore/"' in history
    installer.post(at + "faults/2/restore/", sent())
    assert not on_walk.faults.get(number=2).is_withdrawn
    assert not gate(on_walk, on_walk.faults.all()).is_open
    assert f'action="{at}faults/2/restore/"' not in installer.get(at + "history/").content.decode()


def test_a_place_on_the_body_is_kept_in_millimetres(
    signed_in: Browser, sent: Sent, on_walk: Job
) -> None:
    fields = sent(kind="chip", x="2100.4", y="-310", z="905.25", panel="hood")
    signed_in(Role.INSTALLER).post(f"/jobs/{on_walk.number}/faults/", fields)
    fault = Fault.objects.get()
    assert (fault.x_mm, fault.y_mm, fault.z_mm, fault.panel) == (2100.4, -310.0, 905.25, "hood")


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "chip"},
        {"kind": "nonsense", "panel": "Hood"},
        {"kind": "chip", "view": "inside", "across": "0.5", "along": "0.5"},
        {"kind": "chip", "view": "left", "across": "1.5", "along": "0.5"},
        {"kind": "chip", "x": "nan", "y": "0", "z": "0"},
        {"kind": "chip", "x": "1e9", "y": "0", "z": "0"},
        {"kind": "chip", "x": "10", "y": "0"},
        {"kind": "chip", "panel": "H" * 81},
    ],
)
def test_a_fault_without_kind_or_place_is_not_noted(
    signed_in: Browser, sent: Sent, on_walk: Job, fields: dict[str, str]
) -> None:
    answer = signed_in(Role.INSTALLER).post(f"/jobs/{on_walk.number}/faults/", sent(**fields))
    assert "errorlist" in answer.content.decode()
    assert not Fault.objects.exists()


def test_faults_change_only_during_the_walk_round(
    signed_in: Browser, sent: Sent, on_walk: Job
) -> None:
    counter, at = signed_in(Role.COUNTER), f"/jobs/{on_walk.number}/"
    counter.post(at + "faults/", sent(kind="chip", panel="Hood"))
    counter.post(at + "walk-round/close/", sent())
    page = counter.post(at + "faults/", sent(kind="dent", panel="Hood")).content.decode()
    assert "faults change only during the walk-round" in page
    counter.post(at + "faults/1/withdraw/", sent(reason="none"))
    assert not Fault.objects.get().is_withdrawn
    # Sent back with a reason, they change again; the reason is in the history.
    assert any("Say why" in sentence for sentence in told(counter.post(at + "back/", sent())))
    counter.post(at + "back/", sent(reason="the roof was forgotten"))
    counter.post(at + "faults/", sent(kind="dent", panel="Roof"))
    assert Fault.objects.count() == 2
    assert Event.objects.get(kind="job.sent-back").sentence == (
        "Sent back to “Walk-round”: the roof was forgotten"
    )


@pytest.mark.parametrize("stage", [Stage.ENQUIRY, Stage.CLOSED])
def test_enquiries_and_closed_jobs_are_not_sent_back(
    signed_in: Browser, sent: Sent, job: Job, stage: Stage
) -> None:
    Job.objects.filter(pk=job.pk).update(stage=stage)
    answer = signed_in(Role.OWNER).post(f"/jobs/{job.number}/back/", sent(reason="x"))
    assert any("cannot go back from here" in sentence for sentence in told(answer))
    job.refresh_from_db()
    assert job.stage == stage


def test_warnings_need_a_name_a_tick_and_a_warning(
    on_walk: Job, people: dict[Role, Person]
) -> None:
    who = people[Role.INSTALLER]
    for kind in ("old film", "chip"):
        add_fault(on_walk, Seen(kind=kind, panel="Hood"), picture=None, who=who)
    for numbers, name, says in (
        ([1], " ", "Type the name"),
        ([], "Perrin", "Tick each"),
        ([2], "Perrin", "Fault 2 has no warning"),
        ([1, 9], "Perrin", "Fault 9 has no warning"),
    ):
        with pytest.raises(InputError, match=says):
            acknowledge(on_walk, numbers, name=name, who=who, through="on the tablet")
    Fault.objects.update(acknowledged_at=None)
    acknowledge(on_walk, [1], name="Perrin", who=None, through="through the private link")
    with pytest.raises(InputError, match="Fault 1 has no warning"):
        acknowledge(on_walk, [1], name="Perrin", who=who, through="on the tablet")


def test_a_refused_acknowledgement_keeps_ticks_and_name(
    signed_in: Browser, sent: Sent, on_walk: Job
) -> None:
    installer, address = signed_in(Role.INSTALLER), f"/jobs/{on_walk.number}/warnings/"
    for _ in range(2):
        add_fault(on_walk, Seen(kind="repaint", panel="Hood"), picture=None, who=None)
    page = installer.post(address, sent(fault="2", name="")).content.decode()
    assert "Type the name" in page
    assert 'value="2" checked' in page
    page = installer.post(address, sent(name="Perrin")).content.decode()
    assert "Tick each" in page
    assert 'value="Perrin"' in page
    assert not on_walk.faults.exclude(acknowledged_at=None).exists()


def test_every_kind_can_be_noted_and_two_warn(on_walk: Job) -> None:
    for kind in KINDS:
        add_fault(on_walk, Seen(kind=kind.name, panel="Hood"), picture=None, who=None)
    warned = on_walk.faults.filter(is_warning=True).values_list("kind", flat=True)
    assert list(warned) == ["repaint", "old film"]


def test_a_body_that_is_ready_is_shown_in_3d_with_the_drawing_beside_it(
    signed_in: Browser, on_walk: Job
) -> None:
    scan = keep([b"scan"], name="van.ply", media_type="x/ply", most_bytes=9, who=None)
    body = Body.objects.create(maker="Tarnholm", name="Haulbeck")
    revision = Revision.objects.create(body=body, number=1, scan=scan)
    on_walk.vehicle.body = revision
    on_walk.vehicle.save()
    installer, address = signed_in(Role.INSTALLER), f"/jobs/{on_walk.number}/walk-round/"
    assert 'class="viewer"' not in installer.get(address).content.decode()
    revision.light = scan
    revision.save()
    Fault.objects.create(job=on_walk, number=1, kind="chip", x_mm=1, y_mm=2, z_mm=3)
    page = installer.get(address).content.decode()
    assert 'class="viewer"' in page
    assert "&quot;label&quot;: &quot;1&quot;" in page
    assert 'data-view="left"' in page


def test_the_newest_revision_of_bodies_is_found_by_maker_name_and_year(
    signed_in: Browser, shop: object
) -> None:
    scan = StoredFile.objects.create(sha256="0" * 64, size=1, media_type="x", name="x")
    for name, first, last in (("Haulbeck", 2029, 2033), ("Siskwing", 2034, None)):
        body = Body.objects.create(maker="Tarnholm", name=name, year_from=first, year_to=last)
        for number in (1, 2):
            Revision.objects.create(body=body, number=number, scan=scan)
    old = Body.objects.create(maker="Tarnholm", name="Oldbeck", is_retired=True)
    Revision.objects.create(body=old, number=1, scan=scan)
    counter = signed_in(Role.COUNTER)
    for typed, names in (
        ("tarn", ["Haulbeck", "Siskwing"]),
        ("2031", ["Haulbeck"]),
        ("tarnholm 2040", ["Siskwing"]),
        ("beck tarn", ["Haulbeck"]),
        ("t", []),
    ):
        answer = counter.get("/jobs/find/bodies/", {"body-q": typed})
        assert answer.context is not None
        found = answer.context["bodies"]
        assert [(row.body.name, row.number) for row in found] == [(name, 2) for name in names]


def test_each_page_asks_the_database_little(
    signed_in: Browser,
    on_walk: Job,
    people: dict[Role, Person],
    django_assert_max_num_queries: Any,
) -> None:
    photo = keep([b"\xff\xd8"], name="p", media_type="image/jpeg", most_bytes=9, who=None)
    Fault.objects.bulk_create(
        Fault(
            job=on_walk,
            number=number,
            kind=KINDS[number % 8].name,
            panel="Hood",
            view=VIEWS[number % 6].name,
            across=number / 201,
            along=0.5,
            photo=photo,
            thumb=photo,
            is_warning=KINDS[number % 8].caution != "",
            acknowledged_at=timezone.now() if number % 2 else None,
        )
        for number in range(1, 201)
    )
    Event.objects.bulk_create(
        Event(
            job=on_walk,
            who=people[Role.COUNTER],
            by="Corin",
            kind=("fault.added", "job.changed")[number % 2],
            sentence=f"Event {number}",
            before={"part": "hold", "values": {}},
            after={"part": "hold", "values": {}, "fault": number % 200, "version": 1},
        )
        for number in range(300)
    )
    at = f"/jobs/{on_walk.number}/"
    pages = (
        at,
        at + "walk-round/",
        at + "warnings/",
        at + "history/",
        at + "history/?page=1",
        *(f"{at}edit/{part}/" for part in ("wishes", "hold", "vehicle", "customer")),
        at + f"pictures/{photo.sha256}/",
        "/jobs/enquiry/",
        "/jobs/find/customers/?customer-q=oake",
        "/jobs/find/bodies/?body-q=tarn",
    )
    owner = signed_in(Role.OWNER)
    for page in pages:
        with django_assert_max_num_queries(12):
            assert owner.get(page).status_code == 200, page
    last = owner.get(at + "history/").content.decode()
    assert "Event 299" in last
    assert "Event 150<" not in last
    assert "Event 150<" in owner.get(at + "history/?page=1").content.decode()


def test_the_drawing_has_six_views_whose_sides_mirror() -> None:
    assert [view.name for view in VIEWS] == ["left", "right", "front", "rear", "above", "below"]
    assert is_view("above")
    assert not is_view("inside")
    left, right = VIEWS[0], VIEWS[1]
    for here, there in zip(left.parts, right.parts, strict=True):
        assert mirrored(there.d, axis=0, about=right.width / 2) == here.d
        assert here.panel.replace("left", "right") == there.panel
    for name in ("Hood", "Fender, left", "Fender, right", "Mirror, left", "Glass"):
        assert name in PANELS
    assert len(PANELS) == len(set(PANELS))


def test_paths_stay_within_their_view() -> None:
    for view in VIEWS:
        for part in view.parts:
            numbers = [float(n) for n in re.findall(r"-?[\d.]+", part.d)]
            assert 0 <= min(numbers[::2]) <= max(numbers[::2]) <= view.width
            assert 0 <= min(numbers[1::2]) <= max(numbers[1::2]) <= view.height
