"""The pages of the fit and the files that they show: by state, by role, by address."""

import io
from collections.abc import Callable
from typing import Any

import pytest
import trimesh
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from layflat.web.cover.models import Cover, Outcome
from layflat.web.files.store import path_of
from layflat.web.fit.cuts import cut_rows
from layflat.web.fit.words import hardest_first, in_words
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Role, Shop
from layflat.web.work.models import Computation, State
from web.bodies.conftest import dome
from web.fit.pieces import a_piece, its_files
from web.fit.rows import a_computation, a_cover, a_job, add_piece, an_outcome, with_plan

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
PIECE_FILES = {
    "surface": "model/gltf-binary",
    "flat": "application/json",
    "map": "image/svg+xml",
}
OUTCOME_FILES = {
    "vehicle": "model/gltf-binary",
    "lines": "application/json",
    "picture": "image/png",
}


def at(name: str, cover: Cover, *more: int) -> str:
    return reverse(f"fit:{name}", args=[cover.job.number, cover.number, *more])


def all_addresses(cover: Cover) -> list[str]:
    return [
        at("fit", cover),
        at("ready", cover),
        at("piece", cover, 1),
        *(at(name, cover, 1, 1) for name in PIECE_FILES),
        *(at(name, cover, 1) for name in OUTCOME_FILES),
    ]


def text(answer: HttpResponse) -> str:
    return " ".join(answer.content.decode().split())


@pytest.mark.parametrize("role", Role)
def test_every_role_looks_and_nothing_is_changed(
    signed_in: Browser, outcome: Outcome, role: Role
) -> None:
    client = signed_in(role)
    for address in all_addresses(outcome.cover):
        assert client.get(address).status_code in (200, 204), address
        assert client.post(address).status_code == 405, address


def test_strangers_are_asked_to_sign_in(client: Client, outcome: Outcome) -> None:
    for address in all_addresses(outcome.cover):
        answer = client.get(address)
        assert answer.status_code == 302, address
        assert answer.headers["Location"].startswith("/sign-in/")


def test_nobody_sees_a_price(signed_in: Browser, outcome: Outcome, shop: Shop) -> None:
    for address in (at("fit", outcome.cover), at("piece", outcome.cover, 1)):
        page = text(signed_in(Role.INSTALLER).get(address)).lower()
        assert "price" not in page
        assert shop.currency.lower() not in page


def test_the_files_are_those_of_the_piece(signed_in: Browser, outcome: Outcome) -> None:
    client, files = signed_in(Role.INSTALLER), its_files()
    for name, media_type in PIECE_FILES.items():
        answer = client.get(at(name, outcome.cover, 1, 1))
        assert answer.headers["Content-Type"] == media_type
        assert answer.content == getattr(files, name)
    for name, media_type in OUTCOME_FILES.items():
        assert client.get(at(name, outcome.cover, 1)).headers["Content-Type"] == media_type
    vehicle = client.get(at("vehicle", outcome.cover, 1)).content
    shown = trimesh.load(io.BytesIO(vehicle), file_type="glb")
    assert set(shown.geometry) == {"body", "piece-1"}


def test_a_file_that_the_browser_has_is_not_sent_again(
    signed_in: Browser, outcome: Outcome
) -> None:
    client = signed_in(Role.INSTALLER)
    for address in all_addresses(outcome.cover)[3:]:
        etag = client.get(address).headers["ETag"]
        again = client.get(address, headers={"If-None-Match": etag})
        assert (again.status_code, again.content) == (304, b"")


def test_a_map_may_run_and_load_nothing(signed_in: Browser, outcome: Outcome) -> None:
    answer = signed_in(Role.INSTALLER).get(at("map", outcome.cover, 1, 1))
    policy = answer.headers["Content-Security-Policy"]
    assert policy == "default-src 'none'; img-src data:; sandbox"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert b"<script" not in answer.content


def test_files_of_another_job_are_not_at_this_one_s_address(
    signed_in: Browser, outcome: Outcome
) -> None:
    other = a_cover(a_job(outcome.cover.body, name="Tamsin Reed"), outcome.cover.body)
    client = signed_in(Role.OWNER)
    for name in PIECE_FILES:
        assert client.get(at(name, other, 1, 1)).status_code == 404
        assert client.get(at(name, outcome.cover, 2, 1)).status_code == 404
        assert client.get(at(name, outcome.cover, 1, 2)).status_code == 404
    for name in OUTCOME_FILES:
        assert client.get(at(name, other, 1)).status_code == 404
    assert client.get(at("piece", other, 1)).status_code == 404
    assert client.get(at("piece", outcome.cover, 7)).status_code == 404
    assert client.get(at("fit", outcome.cover).replace("/cover/1/", "/cover/9/")).status_code == 404


def test_a_file_that_is_gone_is_said_as_such(signed_in: Browser, outcome: Outcome) -> None:
    path_of(outcome.pieces.get().flat.sha256).unlink()
    assert signed_in(Role.OWNER).get(at("flat", outcome.cover, 1, 1)).status_code == 404


def test_a_cover_that_is_not_computed_says_what_to_do(signed_in: Browser, cover: Cover) -> None:
    page = text(signed_in(Role.COUNTER).get(at("fit", cover)))
    assert "Not computed yet" in page
    assert f'href="{reverse("cover:choose", args=[cover.job.number, cover.number])}"' in page
    assert signed_in(Role.COUNTER).get(at("piece", cover, 1)).status_code == 404


def test_a_page_waits_while_it_is_computed(signed_in: Browser, cover: Cover) -> None:
    made = a_computation(cover, State.RUNNING, progress=0.4, says="hood: drawing the pattern")
    client = signed_in(Role.COUNTER)
    page = text(client.get(at("fit", cover)))
    assert "Hood: drawing the pattern" in page
    assert f'hx-get="{at("ready", cover)}"' in page
    assert "HX-Refresh" not in client.get(at("ready", cover)).headers
    made.state, made.ended_at = State.FAILED, timezone.now()
    made.error = "The panel “hood” cannot be one piece."
    made.save()
    assert client.get(at("ready", cover)).headers["HX-Refresh"] == "true"
    page = text(client.get(at("fit", cover)))
    assert "The panel “hood” cannot be one piece." in page
    assert "There is no fit to show" in page


def test_what_was_found_before_is_shown_meanwhile(signed_in: Browser, outcome: Outcome) -> None:
    a_computation(outcome.cover, State.RUNNING)
    page = text(signed_in(Role.COUNTER).get(at("fit", outcome.cover)))
    assert "Until it is done, what was computed before is shown." in page
    assert "Hood" in page


@pytest.mark.parametrize("name", ["fit", "piece"])
def test_a_page_says_when_the_choices_have_changed(
    signed_in: Browser, outcome: Outcome, name: str
) -> None:
    cover = outcome.cover
    address = at(name, cover, *([1] if name == "piece" else []))
    client = signed_in(Role.COUNTER)
    assert "Out of date" not in text(client.get(address))
    cover.choices = {"panels": [{"panel": "hood"}]}
    cover.save()
    assert "Out of date" in text(client.get(address))


def test_a_new_outcome_takes_the_place_of_the_old_one(signed_in: Browser, outcome: Outcome) -> None:
    an_outcome(outcome.cover, [a_piece(), a_piece()], body=dome())
    page = text(signed_in(Role.COUNTER).get(at("piece", outcome.cover, 2)))
    assert at("flat", outcome.cover, 2, 2) in page
    assert "2 of 2" in page


def test_the_hardest_pieces_come_first(outcome: Outcome) -> None:
    for number in (2, 3, 4):
        add_piece(outcome, number, a_piece())
    for number, effort, stretch, compression in (
        (1, "easy", 0.04, 0.001),
        (2, "hard", 0.11, 0.001),
        (3, "care", 0.06, 0.001),
        (4, "hard", 0.02, 0.05),
    ):
        outcome.pieces.filter(number=number).update(
            effort=effort, stretch=stretch, compression=compression
        )
    ordered = hardest_first(outcome.pieces.all())
    assert [piece.number for piece in ordered] == [4, 2, 3, 1]
    assert [in_words(piece).word for piece in ordered] == ["hard", "hard", "needs care", "easy"]
    assert in_words(ordered[1]).stretch == "11.0\u00a0%, limit 5\u00a0%"


def test_a_page_s_words_are_escaped(signed_in: Browser, outcome: Outcome) -> None:
    piece = outcome.pieces.get()
    piece.warnings = ["<script>alert(1)</script>"]
    piece.details["edges"][0]["name"] = "<b>low"
    piece.save()
    page = text(signed_in(Role.COUNTER).get(at("piece", outcome.cover, 1)))
    assert "<script>alert" not in page
    assert "<b>low" not in page


def test_pages_ask_little_of_the_database(
    signed_in: Browser, outcome: Outcome, django_assert_max_num_queries: Any
) -> None:
    for number in range(2, 9):
        add_piece(outcome, number, a_piece())
    client = signed_in(Role.INSTALLER)
    for address in all_addresses(outcome.cover):
        client.get(address)
        with django_assert_max_num_queries(8):
            client.get(address)


def test_lengths_are_as_the_shop_writes_them(
    signed_in: Browser, outcome: Outcome, shop: Shop
) -> None:
    client = signed_in(Role.COUNTER)
    assert "film ends 1.5 mm short" in text(client.get(at("piece", outcome.cover, 1)))
    shop.inches = True
    shop.save()
    page = text(client.get(at("piece", outcome.cover, 1)))
    assert "film ends 0.06 in short" in page
    assert 'data-inches="yes"' in page


def test_a_page_says_how_the_piece_is_laid(
    signed_in: Browser, outcome: Outcome, shop: Shop
) -> None:
    client = signed_in(Role.INSTALLER)
    page, picture = at("piece", outcome.cover, 1), at("plan", outcome.cover, 1, 1)
    assert "How it is laid" not in text(client.get(page))
    assert client.get(picture).status_code == 404
    with_plan(outcome.pieces.get())
    shown = text(client.get(page))
    for words in (
        "How it is laid",
        "Anchor at O",
        "O – A",
        "300 mm",
        "309 mm",
        "Strokes overlap by a third",
        "From O to the rear.",
        "H1",
        "Warm the wrap round",
        "120 mm",
        "4.5 mm",
        picture,
    ):
        assert words in shown, words
    answer = client.get(picture)
    assert b"".join(answer) == b"<svg>plan</svg>"  # type: ignore[arg-type]
    assert answer.headers["Content-Security-Policy"].endswith("sandbox")
    shop.inches = True
    shop.save()
    assert "309 mm" not in text(client.get(page))


def test_one_piece_and_two_stand_side_by_side(
    signed_in: Browser, outcome: Outcome, monkeypatch: pytest.MonkeyPatch
) -> None:
    piece, cover = outcome.pieces.get(), outcome.cover
    cover.choices = {"panels": [{"panel": piece.panel}]}
    cover.save()
    Job.objects.filter(pk=cover.job_id).update(stage=Stage.COVER)
    page, ask = at("piece", cover, 1), at("two", cover, 1)
    looking, choosing = signed_in(Role.INSTALLER), signed_in(Role.COUNTER)
    assert "Compare with two pieces" in text(looking.get(page))
    # Asked for twice, it is one computation; the page waits for it.
    for _ in range(2):
        assert looking.post(ask)["Location"] == f"{page}#two"
    asked = Computation.objects.get(task="cover.seams")
    assert at("two-ready", cover, 1) in text(looking.get(page))
    assert "HX-Refresh" not in looking.get(at("two-ready", cover, 1)).headers
    path = [[0.0, 0.0, 1.0], [0.0, 9.0, 1.0]]
    way = {"stretch": 0.14, "over": 0.3, "excess_mm": 17.6, "film_mm2": 250000, "minutes": 22}
    way |= {"fits_roll": True, "seam_mm": 0.0, "visible_mm": 0.0}
    option = way | {"stretch": 0.067, "seam_mm": 310.0, "visible_mm": 120.0, "path": path}
    option |= {"flat": [[0.0, 0.0], [0.0, 9.0]], "words": "It runs along a crease."}
    asked.state, asked.ended_at = State.DONE, timezone.now()
    asked.result = {"needed": True, "sentences": ["Too much stretch."], "whole": way}
    asked.result["options"] = [option]
    asked.save()
    assert looking.get(at("two-ready", cover, 1)).headers["HX-Refresh"] == "true"
    shown = text(choosing.get(page))
    for words in ("Too much stretch.", "14.0 %", "6.7 %", "310 mm, 120 mm", "0.25 m²", "22 min",
                  "Two, at S1", "Part it at S1", "It runs along a crease."):  # fmt: skip
        assert words in shown.replace("\u00a0", " "), words
    assert "Part it at S1" not in text(looking.get(page))
    cover.choices = {"panels": [{"panel": piece.panel, "seams": [path]}]}
    cover.save()
    shown = text(choosing.get(page))
    assert "Give S1 up" in shown
    assert "Two, at S1" not in shown
    cover.choices = {"panels": [{"panel": piece.panel, "refused_seams": [path]}]}
    cover.save()
    shown = text(choosing.get(page))
    assert "1 refused; none is proposed near it." in shown
    # Without that one it is another comparison.
    assert "Compare with two pieces" in shown
    cover.choices = {"panels": []}
    cover.save()
    assert "bare now" in text(looking.post(ask, follow=True))


def test_seams_alike_in_words_keep_their_own_figures_and_a_failure_is_told_once(
    signed_in: Browser, outcome: Outcome
) -> None:
    piece, cover, client = outcome.pieces.get(), outcome.cover, signed_in(Role.INSTALLER)
    cover.choices = {"panels": [{"panel": piece.panel}]}
    cover.save()
    page = at("piece", cover, 1)
    client.post(at("two", cover, 1))
    asked = Computation.objects.get(task="cover.seams")
    asked.state, asked.ended_at, asked.error = State.FAILED, timezone.now(), "It broke."
    asked.save()
    # A page that asked on would be loaded anew for ever.
    shown = text(client.get(page))
    assert "It broke." in shown
    assert at("two-ready", cover, 1) not in shown
    assert "Compare with two pieces" in shown
    way = {"stretch": 0.1, "over": 0.3, "excess_mm": 17.6, "film_mm2": 250000, "minutes": 22}
    way |= {"fits_roll": True, "seam_mm": 0.0, "visible_mm": 0.0}
    options = [
        way | {"path": [[x, 0.0, 1.0], [x, 9.0, 1.0]], "flat": [], "words": "Alike.", "stretch": e}
        for x, e in ((1.0, 0.061), (2.0, 0.072))
    ]
    asked.state, asked.result = State.DONE, {"needed": True, "sentences": [], "whole": way}
    asked.result["options"] = options
    asked.save()
    shown = text(client.get(page)).replace("\u00a0", " ")
    assert shown.count("6.1 %") == shown.count("7.2 %") == 1


def test_wraps_and_a_blank_are_told(signed_in: Browser, outcome: Outcome) -> None:
    piece = outcome.pieces.get()
    (edge, *_) = [edge for edge in piece.details["edges"] if edge["name"]]
    edge |= {"finish": "wrap", "distance_mm": 7.2}
    wrap = {"name": edge["name"], "wanted_mm": 8.0, "least_mm": 3.1, "most_mm": 7.2, "notches": 2}
    piece.details["wraps"] = [wrap | {"why": ["the metal ends there"]}]
    blank = {"take": False, "against": [], "along_mm": 640, "across_mm": 420, "caution": "Mind it."}
    blank |= {"blank_mm2": 420000, "fitted_mm2": 310000, "blank_min": 12, "fitted_min": 9}
    blank |= {"trimmed_mm": 1800, "beside_paint_mm": 900, "on_paint_mm": 0}
    piece.details["blank"] = blank
    piece.save()
    address, client = at("piece", outcome.cover, 1), signed_in(Role.INSTALLER)
    page = text(client.get(address))
    assert "wrapped 3.1 mm to 7.2 mm round, with 2 notches (8 mm asked for; the metal" in page
    for words in ("would cost more", "640 mm × 420 mm", "0.42 m²", "0.31 m²", "12 min", "1800 mm"):
        assert words in page, words
    assert "Mind it." not in page
    piece.details["blank"]["take"] = True
    piece.save()
    page = text(client.get(address))
    assert "will do here" in page
    assert "Mind it." in page


def test_left_and_right_are_told(signed_in: Browser, outcome: Outcome) -> None:
    piece, client = outcome.pieces.get(), signed_in(Role.INSTALLER)
    pair = {"other": "Mirror, left", "is_shared": True, "is_mirrored": True, "flat": None}
    pair |= {"surface_mm": 0.43, "outline_mm": 0.31, "tolerance_mm": 0.75}
    address = at("piece", outcome.cover, 1)
    assert "Left and right" not in text(client.get(address))
    piece.details["pair"] = pair
    piece.save()
    page = text(client.get(address))
    for words in ("One pattern serves both", "Mirror, left differ by no more", "0.4 mm apart"):
        assert words in page, words
    piece.details["pair"] = pair | {"is_shared": False, "surface_mm": 2.1, "flat": [3.0, 4.0]}
    piece.save()
    page = text(client.get(address))
    for words in ("a pattern of its own", "2.1 mm apart at most, at Δ", 'data-flat="[3.0, 4.0]"'):
        assert words in page, words


def test_names_of_cuts_are_counted_on_after_those_that_are_taken() -> None:
    one, two, three = (((float(i), 0.0, 0.0), (float(i), 9.0, 0.0)) for i in range(3))
    proposed = [
        {"path": path, "flat": [[0, 0], [0, 9]], "words": "It helps."} for path in (one, two)
    ]
    rows = cut_rows("R", taken=(three, two), refused=(), proposed=proposed)
    assert [(row.name, row.is_taken, bool(row.flat)) for row in rows] == [
        ("R1", True, False),
        ("R2", True, True),
        ("R3", False, True),
    ]


def test_cuts_are_proposed_taken_and_refused_from_the_page(
    signed_in: Browser, outcome: Outcome
) -> None:
    piece, cover = outcome.pieces.get(), outcome.cover
    path = [[0.0, 0.0, 1.0], [0.0, 9.0, 1.0]]
    proposal = {"name": "R1", "path": path, "words": "9 mm inward from the edge “low”."}
    piece.details["reliefs"] = {"proposals": [proposal], "sentences": ["Nothing is left."]}
    piece.save()
    cover.choices = {"panels": [{"panel": piece.panel}]}
    cover.save()
    Job.objects.filter(pk=cover.job_id).update(stage=Stage.COVER)
    address = at("piece", cover, 1)
    page = text(signed_in(Role.COUNTER).get(address))
    for words in ("Relief cuts", "9 mm inward", "Take R1", "Not there", "Nothing is left."):
        assert words in page, words
    looking = text(signed_in(Role.INSTALLER).get(address))
    assert "9 mm inward" in looking
    assert "Take R1" not in looking
    cover.choices = {"panels": [{"panel": piece.panel, "reliefs": [path]}]}
    cover.save()
    page = text(signed_in(Role.COUNTER).get(address))
    assert page.count("<strong>R1</strong>") == 1
    assert "Give R1 up" in page
    cover.choices = {"panels": [{"panel": piece.panel, "refused_reliefs": [path]}]}
    cover.save()
    page = text(signed_in(Role.COUNTER).get(address))
    assert "<strong>R1</strong>" not in page
    assert "1 refused; none is proposed near it." in page
    Job.objects.filter(pk=cover.job_id).update(stage=Stage.ACCEPTED)
    assert "proposed again" not in text(signed_in(Role.COUNTER).get(address))
