"""From pieces that need film to a kept layout: searched, chosen, programs made, film reserved."""

import json
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from layflat.base import CheckError, FitError, InputError, silent
from layflat.cut import read_hpgl
from layflat.nest import Layout as Laid
from layflat.nest import Request, Stock, place
from layflat.web.cutting import keeping
from layflat.web.cutting import search as searching
from layflat.web.cutting.keeping import drop, keep, keep_with_programs
from layflat.web.cutting.models import Cut, Layout, Section
from layflat.web.cutting.patterns import pattern_files, read_patterns
from layflat.web.cutting.pool import being_laid_out, to_lay_out
from layflat.web.cutting.programs import make_programs
from layflat.web.cutting.stored import check_stored, layout_json, layout_of
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Shop
from layflat.web.record.models import Event
from layflat.web.stock.booking import free_mm, reserve
from layflat.web.stock.models import Reservation
from layflat.web.work.models import Computation, State
from web.bayed import a_roll, an_accepted_job
from web.cutting.patterned import CAP, HOOD, a_job, begun, chosen, done, searched, to_be_cut

TURNS = (0.0, 90.0, 180.0, 270.0)
PATTERNS = {1: HOOD, 2: CAP}


@pytest.fixture(scope="module")
def laid() -> Laid:
    requests = [Request(pattern=one, turns_deg=TURNS) for one in PATTERNS.values()]
    stock = Stock(width_mm=1524.0, edge_margin_mm=20.0, end_margin_mm=5.0, length_mm=9000.0)
    return place(requests, stock, gap_mm=4.0, seconds=0.4, seed=1, max_section_mm=3000.0)


@pytest.fixture(scope="module")
def stored(laid: Laid) -> dict[str, Any]:
    return layout_json(laid, {"hood": 1, "mirror-left": 2})


@pytest.mark.django_db
def test_a_search_is_told_in_which_order_pieces_are_laid(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    job, outcome = a_job()
    outcome.pieces.filter(number=1).update(details={"lay": 2})
    outcome.pieces.filter(number=2).update(details={"lay": 1})
    layout = begun(job)
    asked: dict[str, int | None] = {}

    def told(requests: list[Request], *_: Any, **__: Any) -> None:
        asked.update({one.pattern.name: one.lay for one in requests})
        raise FitError("Enough.")

    monkeypatch.setattr(searching, "place", told)
    with pytest.raises(FitError):
        done(layout.computation)
    assert asked == {"hood": 2, "mirror-left": 1}


def test_a_layout_comes_back_exactly(laid: Laid, stored: dict[str, Any]) -> None:
    again = layout_of(json.loads(json.dumps(stored)), PATTERNS)
    assert layout_json(again, {"hood": 1, "mirror-left": 2}) == stored
    assert again.stock == laid.stock
    assert (again.length_mm, again.sections, again.notes) == (
        laid.length_mm, laid.sections, laid.notes,
    )  # fmt: skip
    assert {item.pattern.name: item.number for item in again.placements} == {
        "hood": 1,
        "mirror-left": 2,
    }
    check_stored(again, PATTERNS, turns_deg=dict.fromkeys(PATTERNS, TURNS))


def test_a_layout_that_was_tampered_with_is_refused(stored: dict[str, Any]) -> None:
    nearer = json.loads(json.dumps(stored))
    nearer["placements"][1].update({key: nearer["placements"][0][key] for key in ("x_mm", "y_mm")})
    with pytest.raises(CheckError, match="overlap"):
        check_stored(
            layout_of(nearer, PATTERNS), PATTERNS, turns_deg=dict.fromkeys(PATTERNS, TURNS)
        )
    turned = json.loads(json.dumps(stored))
    with pytest.raises(CheckError, match="turned by"):
        check_stored(layout_of(turned, PATTERNS), PATTERNS, turns_deg={1: TURNS, 2: (45.0,)})
    with pytest.raises(InputError, match="piece 2, which has no pattern"):
        layout_of(stored, {1: HOOD})
    with pytest.raises(InputError, match="form that is not known"):
        layout_of({**stored, "form": "other"}, PATTERNS)


def test_the_same_stored_layout_gives_the_same_program_byte_for_byte(
    stored: dict[str, Any],
) -> None:
    one = make_programs(stored, PATTERNS, progress=silent)
    other = make_programs(json.loads(json.dumps(stored)), PATTERNS, progress=silent)
    assert one == other
    assert all(section.hpgl.startswith(b"IN;") for section in one.sections)
    # Limits of the check: `layflat.cut.check`.
    assert one.checked["tip_error_max_mm"] <= 0.05
    assert sorted(n for section in one.sections for n in section.pieces) == [1, 2]
    assert sum(section.film_mm for section in one.sections) >= stored["length_mm"]


def test_the_simulated_cut_is_that_of_the_program(stored: dict[str, Any]) -> None:
    (section,) = make_programs(stored, PATTERNS, progress=silent).sections
    shown = json.loads(section.simulated)
    strokes = read_hpgl(section.hpgl.decode())
    assert [line["down"] for line in shown["lines"]] == [stroke.down for stroke in strokes]
    seconds = sum(line["seconds"] for line in shown["lines"])
    assert seconds == pytest.approx(section.seconds, rel=0.01)
    # The hood's cut-out and outline, the cap's outline, and the cut that turns the blade.
    assert sorted(line["piece"] for line in shown["lines"] if line["down"]) == [0, 1, 1, 2]
    for line in shown["lines"]:
        assert all(-1 <= x <= shown["length_mm"] + 1 for x in line["points"][::2])
        assert all(-1 <= y <= shown["width_mm"] + 1 for y in line["points"][1::2])


def test_the_whole_way_to_a_layout_that_is_to_be_cut(shop: Shop) -> None:
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    layout = begun(job, roll)
    assert (layout.state, layout.number, layout.pieces) == (Layout.State.SEARCHING, 1, [1, 2])
    assert being_laid_out(job) == {1, 2}
    with pytest.raises(InputError, match="nothing to do"):
        begun(job, roll)
    with pytest.raises(InputError, match="No layout is found yet"):
        chosen(layout)
    done(layout.computation)
    layout.refresh_from_db()
    assert layout.so_far["length_mm"] + 1e-6 >= layout.so_far["bound_mm"] > 0
    assert set(json.loads(path_of(layout.shapes.sha256).read_bytes())["pieces"]) == {"1", "2"}
    chosen(layout)
    assert (layout.state, layout.found) == (Layout.State.SEARCHING, layout.so_far)
    assert layout.computation.task == "cutting.programs"
    done(layout.computation)
    layout.refresh_from_db()
    assert layout.state == Layout.State.KEPT
    section = layout.sections.get()
    assert section.film_mm >= layout.used_mm
    assert path_of(section.program.sha256).read_bytes().startswith(b"IN;")
    cuts = list(Cut.objects.filter(section=section).order_by("number"))
    assert [(cut.number, cut.piece.number, cut.attempt, cut.state) for cut in cuts] == [
        (1, 1, 1, "placed"),
        (2, 2, 1, "placed"),
    ]
    assert to_lay_out(job) == []
    assert Reservation.objects.get().length_mm == section.film_mm
    assert free_mm(roll) == 9000 - section.film_mm
    kinds = list(Event.objects.filter(job=job).values_list("kind", flat=True))
    assert kinds == ["cutting.search", "cutting.chosen", "cutting.kept"]
    # Asked again, and run again, nothing is done twice.
    chosen(layout)
    keep_with_programs(layout.computation.inputs, silent)
    assert (Section.objects.count(), Cut.objects.count()) == (1, 2)
    assert Reservation.objects.get().length_mm == section.film_mm
    assert Event.objects.filter(job=job).count() == 3


def test_stopping_early_keeps_the_best_until_then(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search goes on; what a person chose stays chosen, whatever it finds after that."""
    job, _ = a_job()
    layout = begun(job)
    assert layout.computation is not None
    Computation.objects.filter(pk=layout.computation.pk).update(state=State.RUNNING, claim="x")
    board = searching._Board(layout.pk, {"hood": 1, "mirror-left": 2}, {})
    requests = [Request(pattern=one, turns_deg=TURNS) for one in PATTERNS.values()]
    stock = Stock(width_mm=1524.0, edge_margin_mm=20.0, end_margin_mm=5.0)
    told: list[Laid] = []
    options: dict[str, Any] = {"gap_mm": 4.0, "seconds": 0.4, "seed": 1, "watch": told.append}
    best = place(requests, stock, **options)
    board.show(best)
    layout.refresh_from_db()
    search = layout.computation
    chosen(layout)
    search.refresh_from_db()
    assert search.stop_asked
    kept_mm = layout.found["length_mm"]
    monkeypatch.setattr(searching, "WRITE_S", 0.0)
    board._best_mm = float("inf")
    shorter = place(requests[1:], stock, **options)
    board.show(shorter)
    layout.refresh_from_db()
    assert layout.found["length_mm"] == layout.so_far["length_mm"] == kept_mm


def test_writes_are_at_most_two_a_second(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    job, _ = a_job()
    layout = begun(job)
    clock = [100.0]
    monkeypatch.setattr(searching.time, "monotonic", lambda: clock[0])
    board = searching._Board(layout.pk, {"hood": 1, "mirror-left": 2}, {})
    seen = []
    requests = [Request(pattern=HOOD, turns_deg=(0.0,))]
    stock = Stock(width_mm=1524.0, edge_margin_mm=20.0)
    monkeypatch.undo()
    laid = place(requests, stock, gap_mm=4.0, seconds=0.4, seed=1)
    monkeypatch.setattr(searching.time, "monotonic", lambda: clock[0])
    for i in range(20):
        clock[0] += 0.1
        object.__setattr__(laid, "length_mm", 900.0 - i)
        board.show(laid)
        layout.refresh_from_db()
        seen.append(layout.so_far["length_mm"])
    assert len(set(seen)) == 4
    board.write()
    layout.refresh_from_db()
    assert layout.so_far["length_mm"] == 881.0


def test_a_search_begun_again_never_shows_a_worse_layout(shop: Shop) -> None:
    job, _ = a_job()
    layout = searched(job)
    better = {**layout.so_far, "length_mm": 1.0}
    Layout.objects.filter(pk=layout.pk).update(so_far=better)
    done(layout.computation)
    layout.refresh_from_db()
    assert layout.so_far["length_mm"] == 1.0


def test_dropping_gives_pieces_and_film_back(shop: Shop) -> None:
    job, _ = a_job()
    roll = a_roll(length_mm=9000)
    layout = to_be_cut(job, roll)
    with transaction.atomic():
        drop(layout, who=None)
        drop(layout, who=None)
    assert layout.state == Layout.State.DROPPED
    assert [piece.number for piece in to_lay_out(job)] == [1, 2]
    assert free_mm(roll) == 9000
    assert not Cut.objects.exists()
    assert Event.objects.filter(kind="cutting.dropped").count() == 1
    with pytest.raises(InputError, match="was dropped"), transaction.atomic():
        keep(layout, who=None)
    # What its programs' computation would do after that is nothing.
    with pytest.raises(InputError, match="dropped meanwhile"):
        keep_with_programs(layout.computation.inputs, silent)
    assert to_be_cut(job, roll).number == 2


def test_what_the_job_had_reserved_counts(shop: Shop) -> None:
    job, _ = a_job()
    roll = a_roll(length_mm=2000)
    with transaction.atomic():
        reserve(roll, job, 2000, who=None)
    layout = to_be_cut(job, roll)
    assert Reservation.objects.get().length_mm == 2000
    assert layout.state == Layout.State.KEPT


def test_a_roll_that_is_too_short_is_refused_and_says_how_much_is_missing(shop: Shop) -> None:
    job, _ = a_job()
    with pytest.raises(FitError, match=r"has 300 mm left.*missing"):
        done(begun(job, a_roll(length_mm=300)).computation)
    with pytest.raises(InputError, match="Nothing is free of R2"):
        begun(a_job("2031-0043")[0], a_roll(length_mm=50))


def test_a_piece_too_wide_for_the_roll_is_named_as_people_say_it(shop: Shop) -> None:
    job, _ = a_job("2031-0042", "mirror-left")
    roll = a_roll()
    type(roll).objects.filter(pk=roll.pk).update(width_mm=200)
    with pytest.raises(FitError, match="“Mirror, left”"):
        done(begun(job, roll).computation)


def test_a_roll_booked_meanwhile_is_said_and_nothing_is_kept(shop: Shop) -> None:
    job, _ = a_job()
    roll = a_roll(length_mm=2000)
    layout = chosen(searched(job, roll))
    other, _ = an_accepted_job("2031-0043")
    with transaction.atomic():
        reserve(roll, other, 1800, who=None)
    with pytest.raises(InputError, match=r"R1 has .* left, of which jobs have reserved"):
        done(layout.computation)
    layout.refresh_from_db()
    assert layout.state == Layout.State.SEARCHING
    assert not Section.objects.exists()
    # Asked again while it is still so, the person is told at once.
    with pytest.raises(FitError, match="are free for it"):
        chosen(layout)


def test_programs_that_fail_their_check_keep_nothing(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, _ = a_job()
    layout = chosen(searched(job))

    def refuse(*_: Any, **__: Any) -> None:
        raise CheckError("The cut leaves its line.")

    monkeypatch.setattr(keeping, "make_programs", refuse)
    with pytest.raises(CheckError):
        done(layout.computation)
    assert not Section.objects.exists()
    assert not Reservation.objects.exists()
    monkeypatch.undo()
    # A computation that failed is asked for again by choosing again.
    Computation.objects.filter(pk=layout.computation.pk).update(
        state=State.FAILED, ended_at=timezone.now()
    )
    chosen(layout)
    layout.computation.refresh_from_db()
    assert layout.computation.state == State.OPEN


def test_covers_computed_before_patterns_were_kept_cannot_be_cut(shop: Shop) -> None:
    job, outcome = an_accepted_job()
    with pytest.raises(InputError, match="compute the cover anew"):
        begun(job)
    with pytest.raises(InputError, match="compute the cover anew"):
        pattern_files(outcome.pieces.all())
    with pytest.raises(InputError, match="no longer in the data folder"):
        read_patterns({"1": "0" * 64})


@pytest.mark.parametrize(
    ("stage", "says"),
    [(Stage.COVER, "once the customer has accepted"), (Stage.HANDED, "no film is cut")],
)
def test_film_is_laid_out_only_once_the_offer_is_accepted(
    shop: Shop, stage: Stage, says: str
) -> None:
    job, _ = a_job()
    Job.objects.filter(pk=job.pk).update(stage=stage)
    with pytest.raises(InputError, match=says):
        begun(job)


def test_what_a_form_may_send_is_looked_at(shop: Shop) -> None:
    job, _ = a_job()
    with pytest.raises(InputError, match="Choose how long"):
        begun(job, seconds=7)
    with pytest.raises(InputError, match="Piece 9 has film"):
        begun(job, None, 9)
    roll = a_roll()
    type(roll).objects.filter(pk=roll.pk).update(is_finished=True)
    with pytest.raises(InputError, match="Nothing is free"):
        begun(job, roll)
