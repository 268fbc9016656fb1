"""The next car's cover is cut by the correction that is kept; taken back, as it was computed."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from layflat.pattern import pattern_json
from layflat.revise import History, Note, NoteKind, Spot, history_json
from layflat.web.bodies.models import Body
from layflat.web.corrections.figures import figures_of
from layflat.web.corrections.models import Correction
from layflat.web.corrections.reading import stretch_said
from layflat.web.cover.choices import Choices, KeptChoice, PanelChoice, to_json
from layflat.web.cover.models import Cover, Piece
from layflat.web.cover.outcomes import ask_for, fill
from layflat.web.cutting.models import Cut
from layflat.web.files.store import path_of
from layflat.web.handback.facts import stretch_by_cut
from layflat.web.handback.words import pieces
from layflat.web.patterns.keeping import keep
from layflat.web.people.models import Role, Shop
from layflat.web.work.models import Computation, State
from web.covered import a_job, kept
from web.cutting.patterned import done
from web.patterns.drawn import a_pattern

pytestmark = pytest.mark.on_sqlite
NAME = "mirror-cap"
NOTE = Note(NoteKind.SHORT, Spot(point_mm=(120.0, 0.0)), mm=(2.0,))


def a_correction(body: Body, history: History) -> Correction:
    """A correction that is kept, with its file."""
    content = json.dumps(history_json(history)).encode()
    return Correction.objects.create(
        body=body,
        piece=NAME,
        number=1,
        state=Correction.State.KEPT,
        history=kept(content, "revisions.json"),
        picture=kept(b"<svg/>", "revision.svg", "image/svg+xml"),
        figures=figures_of(history.revision(1), 5),
        said=[],
        computation=Computation.objects.create(
            task="noting.correct",
            key="corrected",
            inputs={},
            state=State.DONE,
            ended_at=timezone.now(),
        ),
    )


def computed(cover: Cover) -> tuple[Piece, Any]:
    """The only piece of a cover as it is computed now, and what is cut."""
    ask_for(cover, who=None)
    cover.refresh_from_db()
    done(cover.computation)
    cover.refresh_from_db()
    outcome = fill(cover)
    assert outcome is not None
    piece = outcome.pieces.get()
    assert piece.pattern is not None
    return piece, json.loads(path_of(piece.pattern.sha256).read_bytes())


def test_a_cover_is_cut_by_the_kept_correction_until_it_is_taken_back(
    shop: Shop, settings: Any, signed_in: Callable[[Role], Client]
) -> None:
    settings.LAYOUT_S = 0.2
    body = Body.objects.create(maker="Tarnholm", name="Gorse")
    revision = keep(
        body,
        name=NAME,
        title="Mirror cap",
        pattern=a_pattern(NAME),
        origin="drawing",
        exactness={},
        said=[],
        source=None,
        who=None,
    )
    chosen = PanelChoice(panel=NAME, kept=KeptChoice(1, revision.pattern.sha256))
    cover = Cover.objects.create(
        job=a_job(body=body.revisions.get()),
        number=1,
        title="Cap",
        body=body.revisions.get(),
        choices=to_json(Choices((chosen,))),
    )
    _, before = computed(cover)
    assert before == pattern_json(a_pattern(NAME))
    history = History(a_pattern(NAME)).revised([NOTE])
    correction = a_correction(body, history)
    piece, revised = computed(cover)
    assert revised == pattern_json(history.revision(1).pattern)
    assert revised != before
    assert piece.details["correction"]["number"] == 1
    # Its stretch is not known; what the notes say of it stands wherever that is said.
    estimate = "estimated from notes of 1 car, not measured"
    counter = signed_in(Role.COUNTER)
    for address in (
        reverse("patterns:pattern", args=[revision.kept_id]),
        reverse("fit:piece", args=[cover.job.number, cover.number, piece.number]),
    ):
        assert estimate in counter.get(address).content.decode()
    assert estimate in stretch_by_cut([Cut(pk=7, piece=piece)])[7]
    # Of a piece with a surface it is computed, whatever notes say.
    with_surface = {key: value for key, value in piece.details.items() if key != "kept"}
    assert stretch_said(body.pk, NAME, with_surface) == ""
    assert estimate in stretch_said(body.pk, NAME, piece.details)
    correction.state = Correction.State.BACK
    correction.save()
    piece, back = computed(cover)
    assert (
        estimate
        not in counter.get(reverse("patterns:pattern", args=[revision.kept_id])).content.decode()
    )
    assert stretch_by_cut([Cut(pk=7, piece=piece)]) == {}
    assert back == before
    assert "correction" not in piece.details


def test_a_passport_says_that_a_kept_patterns_stretch_is_an_estimate(shop: Shop) -> None:
    kept_of = {"revision": 2, "from": "a drawing", "exactness": [], "said": []}
    item = {"number": 1, "title": "Cap", "film": "Clear", "lot": "A", "roll": "R-1", "work": [],
            "pattern": "", "checked": {"by": ""}}  # fmt: skip
    for stretch, words in (
        ("", "its stretch was not known"),
        ("It stretches 2 %.", "its stretch was not known. It stretches 2 %; cut by revision 3"),
    ):
        more = {"correction": 3, "kept": {**kept_of, "stretch": stretch}}
        (piece,) = pieces({"lost": [], "pieces": [item | more]}, shop)
        assert words in piece.film
