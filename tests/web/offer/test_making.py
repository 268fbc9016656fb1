"""Making versions: what is refused, what is kept, two editors, double taps, a full disk."""

import errno
import hashlib
import io
import os
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db.models import QuerySet
from django.test import Client
from django.utils import timezone
from pypdf import PdfReader
from pytest_django.fixtures import DjangoAssertNumQueries, Settings

from layflat.base import CheckError
from layflat.web.cover.models import Cover
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.offer.accepting import accept
from layflat.web.offer.canonical import in_short, sha256_of
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.offer.paper import offer_pdf
from layflat.web.offer.standing import today
from layflat.web.offer.views import shop as views
from layflat.web.people.models import Person, Role, Shop
from web.covered import a_cover, an_outcome

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
Sent = Callable[..., dict[str, Any]]
Made = Callable[..., Offer]


def at(job: Job) -> str:
    return f"/jobs/{job.number}/offer/"


def form_of(client: Client, job: Job) -> dict[str, Any]:
    """The form for the next version as the page fills it, without a token."""
    context = client.get(at(job)).context
    assert context is not None
    form = context["form"]
    return {
        field.html_name: value
        for field in form
        if (value := field.value()) is not None and value != ""
    }


def test_the_first_version_is_made_kept_and_said(
    signed_in: Browser, sent: Sent, job: Job, covers: tuple[Cover, ...], shop: Shop
) -> None:
    counter = signed_in(Role.COUNTER)
    begun = form_of(counter, job)
    assert begun == {
        "covers": [str(cover.pk) for cover in covers],
        "valid_days": 30,
        "seen": 0,
    }
    own = {"text-1": "Old film off", "amount-1": "120,50", "cover-1": str(covers[0].pk)}
    form = sent(**begun, **own, message="As  we said.", do="preview")
    shown = counter.post(at(job), form).content.decode()
    assert "as the customer would see it" in shown
    assert "Old film off" in shown
    assert not Offer.objects.exists()

    answer = counter.post(at(job), {**form, "do": "make"})
    assert answer.headers["Location"] == f"{at(job)}#links"
    counter.post(at(job), {**form, "do": "make"})  # a double tap
    offer = Offer.objects.get()
    first, second = offer.content["alternatives"]
    # 1521.60 and 120.50; a fifth of 1642.10 is 328.42.
    assert (first["net"], first["tax"], first["gross"]) == ("1642.10", "328.42", "1970.52")
    assert not [line for line in second["lines"] if line["kind"] == "own"]
    assert offer.content["message"] == "As we said."
    assert offer.sha256 == sha256_of(offer.content)
    assert offer.valid_until == today(shop) + timedelta(days=30)
    assert [outcome.cover for outcome in offer.outcomes.order_by("cover__number")] == list(covers)
    job.refresh_from_db()
    assert job.stage == Stage.OFFERED
    event = job.events.get(kind="offer.made")
    assert event.sentence == "Version 1 of the offer was made: “Nose only”, “Nose and doors”."
    # The next one begins from it.
    assert form_of(counter, job) == {
        "covers": [str(cover.pk) for cover in covers],
        "valid_days": 30,
        "seen": 1,
        "message": "As we said.",
        "text-1": "Old film off",
        "amount-1": Decimal("120.50"),
        "cover-1": str(covers[0].pk),
    }


def test_the_paper_says_what_the_content_says(made: Made, shop: Shop) -> None:
    offer = made(on_paper=True)
    data = path_of(offer.pdf.sha256).read_bytes()
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    text = text.replace("\u00a0", " ").replace("\u200b", "")
    for words in ("Nose only", "Nose and doors", "1 825.92", "Door, left", "Version 1"):
        assert words in text
    assert offer.sha256 in text.replace("\n", "")
    assert in_short(offer.sha256) in " ".join(text.split())
    # The same content gives the same bytes.
    assert offer_pdf(offer.content, offer.sha256, shop=shop) == data


@pytest.mark.parametrize(
    ("change", "refused"),
    [
        ({"covers": []}, "one cover or more"),
        ({"covers": ["999"]}, "cannot go in yet"),
        ({"covers": ["x"]}, "cannot go in yet"),
        ({"valid_days": "0"}, "greater than or equal to 1"),
        ({"text-1": "For the wait"}, "Write the amount"),
        ({"amount-2": "12"}, "Write what the amount is for"),
        ({"text-1": "Gift", "amount-1": "-9999"}, "discounts are more than all"),
        ({"text-1": "Gift", "amount-1": "NaN"}, "Enter a number"),
        ({"message": "x" * 1001}, "at most 1000"),
        ({"seen": "x"}, "open it anew"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_entered_stays(
    signed_in: Browser, sent: Sent, job: Job, change: dict[str, Any], refused: str
) -> None:
    counter = signed_in(Role.COUNTER)
    form = {**form_of(counter, job), "message": "Our words.", **change}
    shown = counter.post(at(job), sent(**form, do="make")).content.decode()
    assert refused in shown
    assert form["message"] in shown
    assert not Offer.objects.exists()
    job.refresh_from_db()
    assert job.stage == Stage.COVER


def test_covers_that_are_not_computed_as_they_are_stay_out(
    signed_in: Browser, sent: Sent, job: Job, covers: tuple[Cover, ...]
) -> None:
    counter = signed_in(Role.COUNTER)
    form = form_of(counter, job)
    changed = {"choices": {"panels": [{"panel": "roof"}]}, "number": 77}
    Cover.objects.filter(pk=covers[0].pk).update(**changed)
    fresh = a_cover(job, "Whole vehicle")
    shown = counter.get(at(job)).content.decode()
    assert f'href="/jobs/{job.number}/cover/77/"' in shown
    assert "“Nose only” was changed after it was computed" in shown
    assert "“Whole vehicle” has not been computed yet" in shown
    for covers_sent in ([str(covers[0].pk)], [str(fresh.pk)]):
        answer = counter.post(at(job), sent(**{**form, "covers": covers_sent}, do="make"))
        assert "cannot go in yet" in answer.content.decode()
    assert not Offer.objects.exists()


def test_open_warnings_are_acknowledged_first(signed_in: Browser, sent: Sent, job: Job) -> None:
    counter = signed_in(Role.COUNTER)
    fault = Fault.objects.create(job=job, number=1, kind="repaint", panel="hood", is_warning=True)
    form = sent(**form_of(counter, job), do="make")
    shown = counter.post(at(job), form).content.decode()
    assert "The customer has not acknowledged fault 1, repaint, hood." in shown
    assert not Offer.objects.exists()
    Fault.objects.filter(pk=fault.pk).update(
        acknowledged_at=timezone.now(), acknowledged_by="Perrin Oake"
    )
    counter.post(at(job), sent(**form_of(counter, job), do="make"))
    (known,) = Offer.objects.get().content["acknowledged"]
    assert (known["text"], known["by"]) == ("Repaint, hood", "Perrin Oake")


def test_a_shop_without_rates_has_nothing_to_offer(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    Shop.objects.update(film_per_metre=0, rate_per_hour=0)
    counter = signed_in(Role.COUNTER)
    shown = counter.post(at(job), sent(**form_of(counter, job), do="make")).content.decode()
    assert "Film and work have no price yet" in shown
    assert not Offer.objects.exists()


def test_the_second_of_two_who_make_a_version_is_told(
    signed_in: Browser, sent: Sent, job: Job
) -> None:
    counter, owner = signed_in(Role.COUNTER), signed_in(Role.OWNER)
    first, second = form_of(counter, job), form_of(owner, job)
    counter.post(at(job), sent(**first, do="make"))
    answer = owner.post(at(job), sent(**{**second, "message": "Mine."}, do="make"))
    shown = answer.content.decode()
    assert "Somebody else made version 1 meanwhile" in shown
    assert "Mine.</textarea>" in shown
    assert Offer.objects.count() == 1
    # Having seen it, the second one may make the next.
    context = answer.context
    assert context is not None
    assert str(context["form"]["seen"].value()) == "1"
    owner.post(at(job), sent(**{**second, "seen": "1", "message": "Mine."}, do="make"))
    assert [offer.version for offer in Offer.objects.all()] == [1, 2]


def test_a_full_disk_leaves_nothing_behind(
    signed_in: Browser, sent: Sent, job: Job, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    counter = signed_in(Role.COUNTER)
    form = sent(**form_of(counter, job), message="Our words.", do="make")
    files = {path for path in Path(settings.FILES_FOLDER).rglob("*") if path.is_file()}
    rows = StoredFile.objects.count()

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr("layflat.web.files.store.os.fsync", full)
        shown = counter.post(at(job), form).content.decode()
    assert "cannot be kept: No space left on device" in shown
    assert "Our words.</textarea>" in shown
    assert not Offer.objects.exists()
    assert StoredFile.objects.count() == rows
    assert {path for path in Path(settings.FILES_FOLDER).rglob("*") if path.is_file()} == files
    assert not job.events.filter(kind="offer.made").exists()
    # The same form goes through once there is room: its token was not used up.
    counter.post(at(job), form)
    assert Offer.objects.count() == 1


def test_a_change_while_the_paper_is_set_is_told(
    signed_in: Browser,
    sent: Sent,
    job: Job,
    covers: tuple[Cover, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    set_paper = views.paper_of

    def slow(*args: Any, **options: Any) -> bytes:
        Cover.objects.filter(pk=covers[0].pk).update(title="Nose and mirrors")
        return set_paper(*args, **options)

    monkeypatch.setattr(views, "paper_of", slow)
    counter = signed_in(Role.COUNTER)
    shown = counter.post(at(job), sent(**form_of(counter, job), do="make")).content.decode()
    assert "Something was changed meanwhile; look at the preview again." in shown
    assert not Offer.objects.exists()


def test_rows_are_never_changed(made: Made, job: Job, shop: Shop) -> None:
    offer = made()
    acceptance = accept(job, seen=offer.sha256, alternative=1, name="P", shop=shop)
    offer.content["message"] = "Other words."
    for act in (
        offer.save,
        lambda: offer.save(update_fields=["content"]),
        offer.delete,
        lambda: Offer.objects.update(valid_until="2099-01-01"),
        lambda: Offer.objects.all().delete(),
        acceptance.save,
        lambda: Acceptance.objects.update(name="Somebody else"),
        acceptance.delete,
    ):
        with pytest.raises(CheckError, match="never changed"):
            act()
    assert Offer.objects.get().content["message"] == ""


def test_an_offer_that_was_tampered_with_cannot_be_accepted(
    made: Made, job: Job, shop: Shop, signed_in: Browser
) -> None:
    offer = made()
    content = {**offer.content, "message": "Everything for nothing."}
    QuerySet(Offer).filter(pk=offer.pk).update(content=content)
    job.refresh_from_db()
    with pytest.raises(CheckError, match="no longer as it was made"):
        accept(job, seen=offer.sha256, alternative=1, name="P", shop=shop)
    shown = signed_in(Role.COUNTER).get(f"{at(job)}1/").content.decode()
    assert "its hash differs" in shown


def test_versions_that_are_out_of_date_are_said(
    made: Made, job: Job, covers: tuple[Cover, ...], signed_in: Browser
) -> None:
    counter = signed_in(Role.COUNTER)
    made()
    assert "out of date" not in counter.get(at(job)).content.decode()
    an_outcome(covers[0], film_mm=9000.0)
    Cover.objects.filter(pk=covers[1].pk).update(is_dropped=True)
    shown = counter.get(at(job)).content.decode()
    assert "Version 1 is out of date" in shown
    assert "“Nose only” was changed or computed anew since." in shown
    assert "“Nose and doors” is no longer among the job&#x27;s covers." in shown


def test_going_back_withdraws_the_open_offer(
    made: Made, job: Job, signed_in: Browser, sent: Sent
) -> None:
    made()
    counter = signed_in(Role.COUNTER)
    back = f"/jobs/{job.number}/back/"
    # Somebody whose page still says otherwise is told.
    counter.post(back, sent(reason="Other doors", seen="cover"))
    job.refresh_from_db()
    assert job.stage == Stage.OFFERED
    counter.post(back, sent(reason="Other doors", seen="offered"))
    job.refresh_from_db()
    assert job.stage == Stage.COVER
    event = job.events.get(kind="job.sent-back")
    assert event.sentence == (
        "Sent back to “Cover”: Other doors Version 1 of the offer was withdrawn."
    )
    assert Offer.objects.get().withdrawn_at is not None
    assert "withdrawn" in counter.get(at(job)).content.decode()


def test_an_accepted_job_is_opened_again_and_the_yes_stays(
    made: Made, job: Job, shop: Shop, signed_in: Browser, sent: Sent, covers: tuple[Cover, ...]
) -> None:
    offer = made()
    accept(job, seen=offer.sha256, alternative=1, name="Perrin Oake", shop=shop)
    counter = signed_in(Role.COUNTER)
    form = {"covers": [str(covers[0].pk)], "valid_days": "30", "seen": "1"}
    refused = counter.post(at(job), sent(**form, do="make")).content.decode()
    assert "stands at “Accepted”" in refused
    counter.post(f"/jobs/{job.number}/back/", sent(reason="One door more.", seen="accepted"))
    job.refresh_from_db()
    assert job.stage == Stage.COVER
    assert job.events.get(kind="job.sent-back").sentence.endswith(
        "What was accepted, version 1, stays on record."
    )
    an_outcome(covers[0], film_mm=8100.0)
    counter.post(at(job), sent(**form_of(counter, job), do="make"))
    assert Offer.objects.count() == 2
    shown = counter.get(at(job)).content.decode()
    assert "What changed since version 1" in shown
    # 8.10 m at 62.00 is 502.20.
    assert "Film, cut to your vehicle: 8.10 m, 502.20 instead of 7.35 m, 455.70." in shown
    assert "Perrin Oake accepted “Nose only”" in shown


MARGIN = "661.10"
"""What the first alternative leaves; worked out by hand in test_content."""


def test_nobody_but_owners_reads_the_margin(
    made: Made, job: Job, signed_in: Browser, client: Client, page: str, sent: Sent
) -> None:
    offer = made(on_paper=True)
    cost = offer.costs[0]
    assert cost["margin"] == MARGIN
    secrets = {cost[name] for name in ("film", "time", "total", "margin", "per_cent")}
    secrets |= {"31.50", "46.00", "hour_cost", "film_cost", "What it leaves"}
    counter, owner = signed_in(Role.COUNTER), signed_in(Role.OWNER)
    preview = sent(**form_of(counter, job), do="preview")
    answers = [
        counter.get(at(job)),
        counter.post(at(job), preview),
        counter.get(f"{at(job)}1/"),
        counter.get(f"/jobs/{job.number}/"),
        counter.get(f"/jobs/{job.number}/history/"),
        client.get(page),
    ]
    for answer in answers:
        assert answer.status_code == 200
        found = [word for word in secrets if word.encode() in answer.content]
        assert not found
    for address in (f"{at(job)}1/offer.pdf", f"{page}1/offer.pdf"):
        browser = client if address.startswith("/for-you") else counter
        data = browser.get(address).content
        text = " ".join(one.extract_text() for one in PdfReader(io.BytesIO(data)).pages)
        assert "825.92" in text
        assert not [word for word in secrets if word in text]
    assert MARGIN in owner.get(f"{at(job)}1/").content.decode()
    assert MARGIN in owner.post(at(job), {**preview, **sent()}).content.decode()
    # Nor does it stand in what is frozen.
    assert not [word for word in secrets if word in str(offer.content)]


ADDRESSES = ("", "1/", "1/offer.pdf", "of/{outcome}/vehicle.glb", "hear/")


@pytest.mark.parametrize("role", [*Role, None])
@pytest.mark.parametrize("what", ADDRESSES)
def test_who_may_open_offers(
    made: Made,
    job: Job,
    signed_in: Browser,
    client: Client,
    covers: tuple[Cover, ...],
    role: Role | None,
    what: str,
) -> None:
    made()
    outcome = covers[0].outcomes.get().pk
    browser = signed_in(role) if role else client
    address = at(job) + what.format(outcome=outcome)
    answer = browser.post(address) if what == "hear/" else browser.get(address)
    if role is None:
        assert answer.headers["Location"].startswith("/sign-in/")
    elif role is Role.INSTALLER:
        assert answer.status_code == 403
    else:
        assert answer.status_code == (302 if what == "hear/" else 200)


def test_installers_see_the_cover_and_no_price(
    made: Made, job: Job, shop: Shop, signed_in: Browser
) -> None:
    offer = made()
    accept(job, seen=offer.sha256, alternative=2, name="Perrin Oake", shop=shop)
    shown = signed_in(Role.INSTALLER).get(f"/jobs/{job.number}/").content.decode()
    assert "Nose and doors" in shown
    assert "Door, left" in shown
    gross = offer.content["alternatives"][1]["gross"]
    sheet = shown[shown.index('id="offered"') :]
    assert "EUR" not in sheet[: sheet.index("</section>")]
    assert gross not in sheet[: sheet.index("</section>")]
    assert at(job) not in shown


@pytest.mark.parametrize(
    "what", ["9/", "9/offer.pdf", "of/999/vehicle.glb", "of/{outcome}/report.json"]
)
def test_what_is_not_there(
    made: Made, job: Job, signed_in: Browser, covers: tuple[Cover, ...], what: str
) -> None:
    made()
    outcome = covers[0].outcomes.get().pk
    answer = signed_in(Role.OWNER).get(at(job) + what.format(outcome=outcome))
    assert answer.status_code == 404


def test_the_next_step_leads_to_the_offer(
    job: Job, made: Made, signed_in: Browser, people: dict[Role, Person]
) -> None:
    counter = signed_in(Role.COUNTER)
    assert "Make the offer" in counter.get(f"/jobs/{job.number}/").content.decode()
    assert "Make the offer" not in signed_in(Role.INSTALLER).get(
        f"/jobs/{job.number}/"
    ).content.decode().replace("make the offer", "")
    made()
    shown = counter.get(f"/jobs/{job.number}/").content.decode()
    assert "Look at the offer" in shown


def test_offers_ask_little_of_the_database(
    made: Made,
    job: Job,
    signed_in: Browser,
    page: str,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    for _ in range(3):
        made()
    counter = signed_in(Role.COUNTER)
    with django_assert_max_num_queries(11):
        counter.get(at(job))
    with django_assert_max_num_queries(6):
        counter.get(f"{at(job)}2/")
    with django_assert_max_num_queries(6):
        Client().get(page)
    with django_assert_max_num_queries(15):
        counter.get(f"/jobs/{job.number}/")


def test_hashes_of_files_are_part_of_what_is_frozen(made: Made, covers: tuple[Cover, ...]) -> None:
    offer = made()
    outcome = covers[0].outcomes.get()
    data = path_of(outcome.shown.sha256).read_bytes()
    files = offer.content["alternatives"][0]["files"]
    assert files["shown"] == hashlib.sha256(data).hexdigest()


def test_a_message_keeps_its_lines(signed_in: Browser, job: Job, sent: Sent) -> None:
    counter = signed_in(Role.COUNTER)
    words = "Dear  Perrin,\r\n\r\n\r\n\r\nas we said.\r\nCorin"
    counter.post(at(job), sent(**{**form_of(counter, job), "message": words}, do="make"))
    assert Offer.objects.get().content["message"] == "Dear Perrin,\n\nas we said.\nCorin"
