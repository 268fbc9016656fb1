"""Edges of a kept pattern: begun, changed by taps, saved as a revision, edited again from there."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from layflat.pattern import pattern_area_mm2
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import pattern_of
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Role, Shop
from layflat.web.shaping.models import EdgeDraft
from web.shaping.brought import shaped

pytestmark = pytest.mark.on_sqlite
HOLE_MM2 = 314.159265


class Bench:
    """A browser on the page of edges, as a person uses it."""

    def __init__(self, client: Client, pk: int) -> None:
        self.client, self.address = client, f"/bodies/patterns/{pk}/edges/"
        self.kept = pk

    @property
    def text(self) -> str:
        answer = self.client.get(self.address)
        assert answer.status_code == 200
        return answer.content.decode()

    def do(self, act: str, **fields: Any) -> str:
        """What a form of the page that is open sends, and the page that follows."""
        self.seen = self.client.get(self.address).context["seen"]
        return self.again(act, **fields)

    def again(self, act: str, **fields: Any) -> str:
        sent = {"seen": self.seen, "act": act, **fields}
        answer = self.client.post(f"{self.address}change/", sent, follow=True)
        assert answer.status_code == 200
        text: str = answer.content.decode()
        return text


@pytest.fixture
def bench(shop: Shop, signed_in: Callable[[Role], Client]) -> Bench:
    body = Body.objects.create(maker="Tarnholm", name="Bramble")
    return Bench(signed_in(Role.COUNTER), shaped(body)["flat"])


def newest(bench: Bench) -> KeptRevision:
    found = KeptRevision.objects.filter(kept=bench.kept).order_by("-number").first()
    assert found is not None
    return found


def test_edges_are_named_joined_split_and_saved_as_a_revision(bench: Bench) -> None:
    assert bench.text.count("<legend>Edge ") == 4
    bench.do("take", **{"name-1": "low", "kind-1": "gap", "mm-1": "8,5"})
    # The tap comes twice: the second is told so and joins nothing more.
    assert bench.do("join-4").count("<legend>Edge ") == 3
    assert "was changed already" in bench.again("join-4")
    text = bench.do("corner", x="120", y="3")
    assert text.count("<legend>Edge ") == 4
    assert EdgeDraft.objects.get().wishes["corners"][1] == pytest.approx([120.0, 0.0])
    assert newest(bench).number == 1
    bench.do("place", x="180", y="70", place_kind="sensor", place_shape="circle", place_wide="30")
    bench.do("mark", x="100", y="40", x2="100", y2="60", mark_text="seam")
    bench.do("save")
    done = newest(bench)
    assert (done.number, done.origin, done.based_on.number) == (2, Origin.EDITED, 1)
    pattern = pattern_of(done)
    # By hand: the strip of 8.5 mm along both halves of the low edge, 240 mm; a circle of 30 mm.
    area = 240 * 140 + 8.5 * 240 - HOLE_MM2 - 706.858
    assert pattern_area_mm2(pattern) == pytest.approx(area, abs=60)
    assert [edge.name for edge in pattern.edges][:1] == ["low"]
    assert {mark.text for mark in pattern.marks} >= {"low", "seam"}
    assert not EdgeDraft.objects.exists()
    # Edited again it begins from the line without allowances: taking 8.5 mm away leaves nothing.
    assert 'value="8.5"' in bench.text
    bench.do("unplace-1", **{"mm-1": "0", "mm-2": "0"})
    bench.do("unmark-1")
    bench.do("save")
    assert newest(bench).number == 3
    assert pattern_area_mm2(pattern_of(newest(bench))) == pytest.approx(
        240 * 140 - HOLE_MM2, abs=40
    )
    assert pattern_of(KeptRevision.objects.get(kept=bench.kept, number=2)).name == pattern.name


@pytest.mark.parametrize(
    ("act", "fields", "why"),
    [
        ("take", {"mm-1": "much"}, "is no number"),
        ("take", {"mm-1": "nan"}, "out of range"),
        ("take", {"mm-1": "400"}, "must be 0 to 100"),
        ("take", {"kind-1": "wet"}, "from the list"),
        ("take", {"name-1": "a", "name-2": "a"}, "Two edges are called"),
        ("take", {"name-1": "a" * 41}, "longer than 40"),
        ("corner", {"x": "", "y": "3"}, "is no number"),
        ("corner", {"x": "0.2", "y": "0"}, "within 1 mm"),
        ("join-9", {}, "not there any more"),
        ("join-", {}, "not there any more"),
        ("unmark-1", {}, "not there any more"),
        ("place", {"x": "60", "y": "70", "place_kind": "lock"}, "from the lists"),
        (
            "place",
            {"x": "60", "y": "70", "place_kind": "lock", "place_shape": "circle", "place_wide": 9},
            "another place that is cut",
        ),
        ("mark", {"x": "1", "y": "1", "x2": "1", "y2": "1"}, "1 mm long"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_that_was_typed_is_lost(
    bench: Bench, act: str, fields: dict[str, Any], why: str
) -> None:
    text = bench.do(act, **{"name-3": "written before", **fields})
    assert why in text
    assert "written before" in text
    assert not EdgeDraft.objects.exists()
    assert newest(bench).number == 1


def test_starting_over_forgets_what_was_not_saved(bench: Bench) -> None:
    assert "Start over" in bench.do("join-2")
    text = bench.do("restart")
    assert "Start over" not in text
    assert text.count("<legend>Edge ") == 4
