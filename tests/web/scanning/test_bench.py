"""The scan bench: from a scan on its floor to a revision with panels, and what is refused."""

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from layflat.base import InputError, LayflatError, silent
from layflat.surface import (
    EdgeKind,
    KeepOutKind,
    Node,
    Outline,
    Plane,
    ReadMesh,
    cut_region,
    features,
    mend,
    ply_bytes,
    prepare,
    read_mesh,
)
from layflat.web.bodies.contents import keep_scan, named, panels_of
from layflat.web.bodies.library import add_revision, fill
from layflat.web.bodies.mended import keep_mended
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.store import keep
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.scanning import tasks
from layflat.web.scanning.acts import act_on
from layflat.web.scanning.models import Bench, Step
from layflat.web.scanning.panels import kept_panels, panel_on
from layflat.web.scanning.standing import earlier_cut
from layflat.web.scanning.state import Draft, State, from_json, to_json
from layflat.web.scanning.steps import begin, lacking, mesh_of, state_of, take
from layflat.web.work.models import Computation
from layflat.web.work.models import State as Work
from layflat.web.work.tasks import find
from surface.stood import joined, moved, plate, shell, turn

Browser = Callable[[Role], Client]
ROTATION, SHIFT = turn(7), np.array([300.0, -100.0, 50.0])
SCAN = joined(shell(), plate(6000.0, 3000.0))
# The rear end of the shell's left side, from its lower edge upwards, in the vehicle's axes.
CORNERS = [(-500.0, 0.05), (-500.0, 0.7), (-1200.0, 0.7), (-1200.0, 0.05)]


def run(computation: Computation | None) -> dict[str, Any]:
    """Compute what was asked for, as a worker would."""
    assert computation is not None
    result = find(computation.task).run(computation.inputs, silent)
    Computation.objects.filter(pk=computation.pk).update(
        state=Work.DONE, result=json.loads(json.dumps(result)), ended_at=timezone.now()
    )
    return result


def on_shell(x: float, part: float) -> np.ndarray:
    """A place of the shell at a length and a part of the way round, in the scan's coordinates."""
    points = shell().vertices_mm.reshape(41, 41, 3)
    row = int(np.abs(points[:, 0, 0] - x).argmin())
    return points[row, round(part * 20)] @ ROTATION.T + SHIFT


@pytest.fixture
def who(people: dict[Role, Person]) -> Person:
    return people[Role.COUNTER]


@pytest.fixture
def revision(who: Person) -> Revision:
    body = Body.objects.create(maker="Tarnholm", name="Shell")
    data = ply_bytes(moved(SCAN, ROTATION, SHIFT))
    scan = keep_scan(ContentFile(data, name="shell.ply"), unit="mm", who=who)
    made = add_revision(body, scan=scan, unit="mm", who=who)
    mesh = mend(moved(SCAN, ROTATION, SHIFT), stray_share=0.0)
    files = {
        name: keep([b"{}"], name=name, media_type="x", most_bytes=9, who=None).sha256
        for name in ("light", "lines", "picture")
    }
    read = ReadMesh(mesh.mesh, "mm", True, "0" * 64, ())
    result = {**files, "mended": keep_mended(read, mesh), "mending": {"notes": [], "mends": []}}
    Computation.objects.filter(pk=made.preparation_id).update(
        state=Work.DONE, result=result, ended_at=timezone.now()
    )
    made = Revision.objects.select_related("preparation", "scan", "body").get(pk=made.pk)
    assert fill(made)
    return made


def stood(revision: Revision, who: Person) -> Bench:
    bench = begin(revision, who=who)
    run(Computation.objects.get(task="scanning.stand"))
    return bench


def step(browser: Client, revision: Revision, **asked: Any) -> dict[str, Any]:
    answer = browser.post(
        f"/bodies/revisions/{revision.pk}/bench/step/", asked, content_type="application/json"
    )
    found: dict[str, Any] = answer.json()
    assert answer.status_code == (400 if found["refused"] else 200)
    return found


def test_a_scan_on_its_floor_becomes_a_revision_with_panels(
    revision: Revision, who: Person, signed_in: Browser
) -> None:
    browser = signed_in(Role.COUNTER)
    page = f"/bodies/revisions/{revision.pk}/bench/"
    assert "Not on the bench yet" in browser.get(page).content.decode()
    assert browser.post(f"{page}begin/").headers["Location"] == page
    assert "is being put upright" in browser.get(page).content.decode()
    result = run(Computation.objects.get(task="scanning.stand"))
    assert np.allclose(np.array(result["rotation"]) @ ROTATION, np.eye(3), atol=1e-3)
    assert result["removed_mm2"] == pytest.approx(18e6)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        text = browser.get(page).content.decode()
    assert len(asked) <= 15
    assert "found in the scan" in text
    assert "guessed: the lower end" in text
    assert browser.get(f"{page}?show=sides").status_code == 200
    assert browser.get(f"{page}frame.json").json()["up"] == result["up"]
    for name in ("plain", "map"):
        assert browser.get(f"{page}{name}.glb").content[:4] == b"glTF"

    now = step(browser, revision, act="begin", seen=0, name="side-left")
    for corner in CORNERS:
        tap = {"draft": 0, "at": on_shell(*corner).tolist(), "snap_mm": 20.0}
        now = step(browser, revision, act="point", seen=now["seen"], **tap)
        # A second tap on the same place is none.
        assert step(browser, revision, act="point", seen=now["seen"], **tap) == now
    # A point put between two where one lies is left out, said while tracing and once it is made.
    doubled = "Point 3 lies at the place of point 2 and is left out."
    tap["at"] = on_shell(*CORNERS[1]).tolist()
    now = step(browser, revision, act="point", seen=now["seen"], after=1, **tap)
    now = step(browser, revision, act="close", seen=now["seen"], draft=0)
    now = step(
        browser,
        revision,
        act="edge",
        seen=now["seen"],
        draft=0,
        node=1,
        corner=True,
        kind="gap",
        name="door",
    )
    (draft,) = now["drafts"]
    assert (draft["closed"], draft["fault"], len(draft["lines"])) == (True, "", 5)
    assert draft["notes"] == [doubled]
    now = step(
        browser,
        revision,
        act="begin",
        seen=now["seen"],
        name="eye",
        keep_out="sensor",
        on="side-left",
    )
    for corner in [(-800.0, 0.3), (-800.0, 0.4), (-1000.0, 0.4), (-1000.0, 0.3)]:
        now = step(
            browser,
            revision,
            act="point",
            seen=now["seen"],
            draft=1,
            at=on_shell(*corner).tolist(),
            snap_mm=0,
        )
    now = step(browser, revision, act="close", seen=now["seen"], draft=1)
    browser.post(f"{page}make/", {"seen": now["seen"]})
    assert "Panels are being made" in browser.get(page).content.decode()
    run(Computation.objects.get(task="scanning.make"))
    text = browser.get(page).content.decode()
    assert "revision 2" in text
    assert f"“side-left”: {doubled}" in text
    made = Revision.objects.get(number=2)
    assert made.panels is not None
    (panel,) = panels_of(made.panels).panels
    assert (panel.name, [item.kind for item in panel.keep_outs]) == (
        "side-left",
        [KeepOutKind.SENSOR],
    )
    assert sorted((edge.kind, edge.name) for edge in panel.outline) == [
        ("gap", "door"),
        ("inner", ""),
    ]
    with named(made.scan) as place:
        upright = mend(read_mesh(place, unit="mm").mesh).mesh
    region = cut_region(upright, panel)
    # In the vehicle's axes: on the left, behind the middle, over the floor.
    assert region.mesh.vertices_mm[:, 1].min() > 0
    assert region.mesh.vertices_mm[:, 0].max() < 0
    assert upright.vertices_mm[:, 2].min() > 15.0
    # Looking again makes no third revision.
    browser.get(page)
    assert Revision.objects.count() == 2
    assert [event.kind for event in Event.objects.order_by("pk")][-3:] == [
        "scan.begun",
        "scan.panels-asked",
        "body.revised",
    ]


def test_two_editors_and_two_taps(revision: Revision, who: Person) -> None:
    stood(revision, who)
    first = {"act": "begin", "seen": 0, "name": "hood"}
    take(revision, first, who=who)
    take(revision, first, who=who)
    assert Step.objects.count() == 1
    with pytest.raises(InputError, match="in the meantime"):
        take(revision, {"act": "begin", "seen": 0, "name": "roof"}, who=who)
    bench = Bench.objects.get()
    assert [draft.name for draft in state_of(bench).drafts] == ["hood"]
    # Back, forward, and back again to another way: the first is still in the journal.
    take(revision, {"act": "undo", "seen": bench.current_id}, who=who)
    assert state_of(Bench.objects.get()) == State()
    take(revision, {"act": "redo", "seen": 0}, who=who)
    assert Bench.objects.get().current_id == bench.current_id
    take(revision, {"act": "undo", "seen": bench.current_id}, who=who)
    take(revision, {"act": "begin", "seen": 0, "name": "roof"}, who=who)
    assert Step.objects.count() == 2
    with pytest.raises(InputError, match="no later step"):
        take(revision, {"act": "redo", "seen": Bench.objects.get().current_id}, who=who)


def _never(*_: Any) -> Any:
    raise AssertionError("It was made lighter again.")


@pytest.mark.on_sqlite
def test_how_it_stands_is_corrected_by_forms(
    revision: Revision, who: Person, signed_in: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = stood(revision, who)
    browser, page = signed_in(Role.COUNTER), f"/bodies/revisions/{revision.pk}/bench/"

    def send(**values: Any) -> str:
        seen = Bench.objects.get().current_id or 0
        return browser.post(f"{page}stand/", {"seen": seen, **values}, follow=True).content.decode()

    first = mesh_of(revision, state_of(bench))
    assert "is being put upright" in send(act="flip")
    # Turned, it is the same scan over the same floor: it is not cut and made lighter again.
    turned = Computation.objects.filter(task="scanning.stand").latest("pk")
    before = Computation.objects.get(task="scanning.stand", state=Work.DONE).result
    with monkeypatch.context() as patch:
        patch.setattr(tasks, "light_mesh", _never)
        found = find(turned.task).run(turned.inputs, silent)
    assert found["mesh"] == first
    assert found["removed"] == before["removed"]
    assert np.allclose(found["forward"], -np.array(before["forward"]))
    # Over another floor, or cut higher, it is.
    plane = Plane(np.array(before["floor"]["normal"]), before["floor"]["offset_mm"])
    assert earlier_cut(turned.inputs, plane) is not None
    higher = Plane(plane.normal, plane.offset_mm + 1.0)
    assert earlier_cut(turned.inputs, higher) is earlier_cut(turned.inputs, None) is None
    for name, value in (("within_mm", 20.0), ("mended", ""), ("unit", "m")):
        assert earlier_cut({**turned.inputs, name: value}, plane) is None
    assert mesh_of(revision, state_of(Bench.objects.get())) == ""
    assert "is being put upright" in send(act="within", mm="20")
    assert "must lie between 0 and 300 mm" in send(act="within", mm="many")
    assert "pick it again" in send(act="pair", points="[[0, 0, 0]]")
    assert "pick them again" in send(act="pair", points="{")
    points = [on_shell(0.0, 0.2).tolist(), on_shell(0.0, 1.8).tolist()]
    send(act="pair", points=json.dumps(points))
    state = state_of(Bench.objects.get())
    assert (state.flip, state.within_mm, len(state.pair)) == (True, 20.0, 2)
    assert from_json(to_json(state)) == state
    # What was computed once is there at once when the steps are taken back.
    for _ in range(3):
        send(act="undo")
    assert mesh_of(revision, state_of(Bench.objects.get())) != ""
    assert bench.steps.count() == 3
    assert state_of(bench) == State()


@pytest.mark.on_sqlite
def test_what_cannot_be_done_is_said_and_changes_nothing(
    revision: Revision, who: Person, signed_in: Browser
) -> None:
    bench = stood(revision, who)
    mesh = mesh_of(revision, state_of(bench))
    hood = act_on(State(), {"act": "begin", "name": "hood"}, mesh=mesh)[0]
    cases: list[tuple[State, dict[str, Any], str]] = [
        (hood, {"act": "begin", "name": "HOOD"}, "already"),
        (hood, {"act": "begin", "name": "a/b"}, "letters"),
        (hood, {"act": "begin", "name": "x", "keep_out": "sensor", "on": "roof"}, "which panel"),
        (hood, {"act": "begin", "name": "x", "keep_out": "moon"}, "from the list"),
        (hood, {"act": "point", "draft": 0, "at": [9e3, 9e3, 9e3], "snap_mm": 1}, "from the surf"),
        (hood, {"act": "point", "draft": 0, "at": ["x", 0, 0], "snap_mm": 1}, "pick it again"),
        (hood, {"act": "point", "draft": 0, "at": [0, 0, 0], "snap_mm": "x"}, "out of date"),
        (hood, {"act": "point", "draft": 5, "at": [0, 0, 0]}, "no longer there"),
        (hood, {"act": "close", "draft": 0}, "three points"),
        (hood, {"act": "edge", "draft": 0, "node": 0, "kind": "moon"}, "from the list"),
        (hood, {"act": "move", "draft": True}, "out of date"),
        (hood, {"act": "dance"}, "no such act"),
        (replace(hood, drafts=hood.drafts * 120), {"act": "begin", "name": "x"}, "at most"),
    ]
    for state, asked, words in cases:
        with pytest.raises(LayflatError, match=words):
            act_on(state, asked, mesh=mesh)
    with pytest.raises(InputError, match="upright before"):
        act_on(State(), {"act": "begin", "name": "hood"}, mesh="")
    browser, page = signed_in(Role.COUNTER), f"/bodies/revisions/{revision.pk}/bench/"
    for sent in ("[]", "{", '{"act": "begin"}', "9" * 30_000):
        answer = browser.post(f"{page}step/", sent, content_type="application/json")
        assert answer.status_code == 400
        assert answer.json()["refused"]
    assert (
        "Trace a panel first"
        in browser.post(f"{page}make/", {"seen": 0}, follow=True).content.decode()
    )
    assert not Step.objects.exists()


@pytest.mark.on_sqlite
def test_an_installer_does_not_work_at_the_bench(
    revision: Revision, people: dict[Role, Person], signed_in: Browser
) -> None:
    page = f"/bodies/revisions/{revision.pk}/bench/"
    assert signed_in(Role.INSTALLER).get(page).status_code == 403
    assert signed_in(Role.INSTALLER).post(f"{page}begin/").status_code == 403
    assert Client().get(page).status_code == 302
    assert not Bench.objects.exists()


def outlined(name: str, corners: list[tuple[float, float]], **more: Any) -> Draft:
    """A closed outline on the shell as it stands upright in its own coordinates."""
    nodes = tuple(Node(tuple(shell_at(*corner).tolist())) for corner in corners)
    return Draft(name, Outline(nodes).joined(), **more)


def shell_at(x: float, part: float) -> np.ndarray:
    return (on_shell(x, part) - SHIFT) @ ROTATION


def test_an_opening_is_cut_out_of_its_panel() -> None:
    fine = features(prepare(shell()))
    panel = outlined("side-left", CORNERS)
    corners = [(-700.0, 0.3), (-700.0, 0.5), (-1000.0, 0.5), (-1000.0, 0.3)]
    named = outlined("lid", corners, on="side-left").outline.with_edge(
        2, corner=True, kind=EdgeKind.GAP, name="hinge"
    )
    # Run either way round, it is the same hole.
    for nodes in (named.nodes, named.nodes[::-1]):
        opening = Draft("lid", Outline(nodes, closed=True), on="side-left")
        state = State(drafts=(panel, opening))
        found, notes = panel_on(fine, panel, state, rotation=np.eye(3), shift_mm=np.zeros(3))
        assert notes == ()
        (rim,) = found.openings
        assert ("hinge", EdgeKind.GAP) in [(edge.name, edge.kind) for edge in rim]
        whole = cut_region(fine.body, replace(found, openings=())).mesh.area_mm2
        lid, _ = panel_on(
            fine, replace(opening, on=""), state, rotation=np.eye(3), shift_mm=np.zeros(3)
        )
        cut_out = cut_region(fine.body, replace(lid, openings=())).mesh.area_mm2
        assert cut_out > 40_000
        assert cut_region(fine.body, found).mesh.area_mm2 == pytest.approx(
            whole - cut_out, rel=1e-4
        )
    assert lacking(State()) == "Trace a panel first."
    assert lacking(State(drafts=(opening,))) == "Trace a panel first."
    assert "“lid” is not closed" in lacking(State(drafts=(panel, Draft("lid", on="side-left"))))
    assert lacking(state) == ""


def test_panels_that_the_revision_has_stay_but_for_those_traced_anew() -> None:
    fine = features(prepare(shell()))
    drafts = (outlined("Hood", CORNERS), outlined("eye", CORNERS, on="Hood"))
    state = State(drafts=drafts)
    had = [
        panel_on(fine, item, State(drafts=(item,)), rotation=np.eye(3), shift_mm=np.zeros(3))[0]
        for item in (drafts[0], replace(drafts[0], name="roof"))
    ]
    had = [replace(panel, openings=(panel.outline,)) for panel in had]
    (roof,) = kept_panels(
        [replace(had[0], name="hood"), had[1]], state, rotation=ROTATION, shift_mm=SHIFT
    )
    assert roof.name == "roof"
    for was, edges in ((had[1].outline, roof.outline), (had[1].openings[0], roof.openings[0])):
        for old, new in zip(was, edges, strict=True):
            assert np.allclose(new.points_mm, old.points_mm @ ROTATION.T + SHIFT)
            assert (new.kind, new.name) == (old.kind, old.name)
