"""Kept patterns in a cover, beside a panel that is made from the scan."""

import json
from dataclasses import replace
from typing import Any

import pytest

from layflat.base import InputError
from layflat.pattern import pattern_json
from layflat.surface import KeepOutKind
from layflat.web.bodies.words import KEEP_OUT_WORDS
from layflat.web.cover.choices import Choices, KeptChoice, PanelChoice, from_json, to_json
from layflat.web.cover.choosing import (
    cover_by_pattern,
    cover_whole,
    covered_choice,
    leave_bare,
    panel_seen,
)
from layflat.web.cover.compute import KEEPS, TASK
from layflat.web.cover.estimate import estimate
from layflat.web.cover.kept_pieces import kept_facts, kept_values
from layflat.web.cover.kept_rows import kept_rows
from layflat.web.cover.measure import cover_inputs, revision_inputs
from layflat.web.cover.models import Cover
from layflat.web.cover.panels import PanelFacts, panels_on
from layflat.web.cover.starts import carried_over
from layflat.web.cover.words import difference, panels_in_words
from layflat.web.files.store import path_of
from layflat.web.patterns.keeping import keep
from layflat.web.patterns.models import KeptRevision
from layflat.web.people.models import Shop
from layflat.web.shaping.models import EdgeWork
from web.cover.domes import LEFT, Domes
from web.covered import a_job
from web.patterns.drawn import AREA_MM2, a_pattern

FACTS = PanelFacts("mirror-cap", "Mirror cap", "", (), (), is_kept=True)
KEPT = KeptChoice(2, "ab" * 32)


def kept(domes: Domes) -> KeptRevision:
    return keep(
        domes.revision.body,
        name="mirror-cap",
        title="Mirror cap",
        pattern=a_pattern(),
        origin="drawing",
        exactness={},
        said=["One gap was closed."],
        source=None,
        who=None,
    )


def chosen(revision: KeptRevision) -> PanelChoice:
    return PanelChoice(
        panel=revision.kept.name, kept=KeptChoice(revision.number, revision.pattern.sha256)
    )


def test_a_kept_choice_comes_back_from_its_json() -> None:
    choices = Choices((LEFT, PanelChoice(panel="mirror-cap", kept=KEPT)))
    assert from_json(json.loads(json.dumps(to_json(choices)))) == choices
    assert choices.on_surface == (LEFT,)


@pytest.mark.parametrize(
    "value",
    [
        {"revision": 0, "pattern": "ab" * 32},
        {"revision": True, "pattern": "ab" * 32},
        {"revision": 1, "pattern": "AB" * 32},
        {"revision": 1, "pattern": "../etc"},
        {"revision": 1},
        [],
    ],
)
def test_a_bad_one_is_refused(value: Any) -> None:
    with pytest.raises(InputError):
        from_json({"panels": [{"panel": "mirror-cap", "kept": value}]})


def test_a_pattern_has_no_other_choices() -> None:
    whole = {"panel": "x", "kept": {"revision": 1, "pattern": "ab" * 32}, "edges": {}}
    with pytest.raises(InputError):
        from_json({"panels": [whole]})


def test_a_pattern_takes_the_place_of_the_surface_and_gives_it_back() -> None:
    panel = PanelFacts("left", "Left", "panel-0", (), ())
    by_pattern = cover_by_pattern(Choices((LEFT,)), panel, kept=KEPT).choices
    assert by_pattern.of("left") == PanelChoice(panel="left", kept=KEPT)
    with pytest.raises(InputError, match="its own"):
        covered_choice(by_pattern, panel)
    assert cover_whole(by_pattern, panel).choices.of("left") == PanelChoice(panel="left")
    seen = {panel_seen(one, "left") for one in (by_pattern, Choices((LEFT,)), Choices())}
    assert len(seen) == 3
    assert leave_bare(by_pattern, panel).choices == Choices()
    with pytest.raises(InputError, match="knows no surface"):
        cover_whole(Choices(), FACTS)


@pytest.mark.on_sqlite
def test_a_pattern_lies_beside_a_panel(domes: Domes, shop: Shop) -> None:
    revision = kept(domes)
    choices = Choices((LEFT, chosen(revision)))
    quick = estimate(choices, domes.revision, shop)
    assert quick.pieces == 2
    assert any(warning.effort == "flat" for warning in quick.warnings)
    inputs = {
        **cover_inputs(domes.revision, choices),
        "choices": to_json(choices),
        "roll_width_mm": 610.0,
        "seconds": 1.0,
        "keeps": KEEPS,
        "kept": kept_facts(choices, body=domes.revision.body_id),
    }
    result = domes.result(TASK, inputs)
    pieces = {piece["panel"]: piece for piece in result["pieces"]}
    cap, left = pieces["mirror-cap"], pieces["left"]
    assert (cap["stretch"], cap["effort"], cap["details"]["lay"]) == (None, "flat", 2)
    assert "surface" not in cap
    assert cap["area_mm2"] == pytest.approx(AREA_MM2)
    exact = json.loads(path_of(cap["pattern"]).read_bytes())
    assert exact == pattern_json(a_pattern())
    assert left["stretch"] > 0
    shown = json.loads(path_of(result["lines"]).read_bytes())
    assert [panel["name"] for panel in shown["panels"]] == ["left"]
    # A piece's film is on the roll whatever it is made from.
    assert result["film_mm"] * 610.0 > cap["area_mm2"] + left["area_mm2"]
    assert any("how high they sit is not known" in note for note in result["notes"])
    drawn = path_of(cap["map"]).read_text()
    assert "<path" in drawn
    flat = json.loads(path_of(cap["flat"]).read_bytes())
    a, _, _, d, e, f = flat["map"]["to_map"]
    # The box's corners lie on the map, the upper left one at its margin.
    assert (a * 0 + e, d * 140 + f) == pytest.approx((3.0, 3.0), abs=1.0)


@pytest.mark.on_sqlite
def test_words_and_revisions(domes: Domes) -> None:
    revision = kept(domes)
    both, one = Choices((LEFT, chosen(revision))), Choices((LEFT,))
    panels = panels_on(domes.revision)
    assert "mirror cap" in panels_in_words(both, panels)
    assert difference(both, one, panels).more == "Mirror cap"
    assert panels.of("mirror-cap").is_kept
    assert panels.title("mirror-cap") == "Mirror cap"
    with pytest.raises(InputError, match="no panel"):
        panels.of("roof")
    other = type(domes.revision)(pk=10**6, body=domes.revision.body)
    carried = carried_over(both, source=other, target=domes.revision, can_trace=lambda *_: True)
    assert carried.choices.of("mirror-cap") == chosen(revision)
    assert cover_inputs(domes.revision, Choices((chosen(revision),)))["scan"] == ""
    assert cover_inputs(domes.revision, both) == revision_inputs(domes.revision)
    wrong = PanelChoice(panel="mirror-cap", kept=KeptChoice(7, revision.pattern.sha256))
    with pytest.raises(InputError, match="not there as it was chosen"):
        kept_facts(Choices((wrong,)), body=domes.revision.body_id)


@pytest.mark.on_sqlite
def test_what_stays_free_of_a_pattern_is_listed(domes: Domes) -> None:
    revision = kept(domes)
    choices, body = Choices((chosen(revision),)), domes.revision.body_id
    assert "free" not in kept_facts(choices, body=body)["mirror-cap"]
    eye = {"name": "eye", "kind": "sensor", "shape": "circle", "x": 0.0, "y": 0.0}
    EdgeWork.objects.create(revision=revision, net=revision.pattern, wishes={"places": [eye]})
    facts = kept_facts(choices, body=body)["mirror-cap"]
    sees = {"name": "eye", "word": KEEP_OUT_WORDS[KeepOutKind.SENSOR]}
    assert facts["free"] == [sees]
    two_holes = replace(a_pattern(), cut_outs=2 * a_pattern().cut_outs)
    details = kept_values(1, two_holes, facts, lay=1)["details"]
    # One of the two cut-outs is the eye's; nobody has named the other.
    assert details["free"] == [sees, {"name": "1 cut-out", "word": "as in the pattern"}]
    assert "free" not in details["kept"]
    job = a_job(body=domes.revision)
    cover = Cover.objects.create(
        job=job, number=1, title="Cap", body=domes.revision, choices=to_json(choices)
    )
    (row,) = kept_rows(cover, choices)
    assert row.free == [sees]
