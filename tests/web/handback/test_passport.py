"""The record is whole, says all that matters and no price, and is never changed.

PDF/A-2a: ISO 19005-2. The canonical form is that of RFC 8785, SHA-256 that of FIPS 180-4.
"""

import hashlib
import io
import json
import re
import uuid
from collections.abc import Callable
from typing import Any

import pypdf
import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from layflat.base import CheckError
from layflat.web.cutting.film import good_cuts
from layflat.web.cutting.models import Cut
from layflat.web.files.store import path_of
from layflat.web.handback.models import Passport
from layflat.web.handback.passports import is_whole
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Fault, Job, Vehicle
from layflat.web.laying.models import Laying
from layflat.web.links.models import PrivateLink
from layflat.web.links.private import token_of
from layflat.web.offer.canonical import canonical, sha256_of
from layflat.web.people.models import Person, Role
from web.bayed import laid
from web.handback.rows import a_checked_job, a_flag, a_picture, give

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]


@pytest.fixture
def told(job: Job, people: dict[Role, Person]) -> Job:
    """The job with a remake, a flag that was mended, and an acknowledged warning."""
    inspector, layer = people[Role.OWNER], people[Role.INSTALLER]
    first = good_cuts(job)[0]
    now = timezone.now()
    spoiled = Cut.objects.create(
        section=first.section,
        piece=first.piece,
        number=first.number,
        attempt=9,
        state=Cut.State.LOST,
        lost_because="dirt under film",
        lost_at=now,
        lost_by=inspector,
    )
    Laying.objects.create(cut=spoiled, began_at=now, ended_at=now).people.add(layer)
    laid(first, layer, way=Laying.Way.PRESSED)
    a_flag(
        job,
        inspector,
        kind="lifted edge",
        remedy=Flag.Remedy.PRESS,
        state=Flag.State.ENDED,
        mended_at=now,
        mended_by=layer,
        mended_how="pressed down",
        ended_at=now,
        ended_by=inspector,
        ended_how="gone",
    )
    Fault.objects.create(
        job=job,
        number=1,
        kind="repaint",
        panel="hood",
        is_warning=True,
        acknowledged_at=now,
        acknowledged_by="Perrin Oake",
    )
    return job


@pytest.fixture
def passport(signed_in: Browser, told: Job) -> Passport:
    assert give(signed_in(Role.COUNTER), told).status_code == 302
    return Passport.objects.get()


def values(found: Any) -> list[Any]:
    if isinstance(found, dict):
        return [value for item in found.values() for value in values(item)]
    if isinstance(found, list):
        return [value for item in found for value in values(item)]
    return [found]


def test_it_says_what_was_done_by_whom(passport: Passport) -> None:
    content = passport.content
    assert [item["number"] for item in content["pieces"]] == [1, 2]
    piece = content["pieces"][0]
    assert (piece["film"], piece["lot"], piece["roll"]) == ("Clear 150", "LW-7731", "R1")
    assert [work["way"] for work in piece["work"]] == ["laid", "pressed down"]
    assert piece["work"][0]["by"] == ["installer"]
    assert piece["checked"]["by"] == "owner"
    assert re.fullmatch("[0-9a-f]{64}", piece["pattern"])
    assert content["lost"][0]["because"] == "dirt under film"
    assert content["lost"][0]["work"][0]["by"] == ["installer"]
    (flag,) = content["flags"]
    assert (flag["kind"], flag["remedy"], flag["size"]) == ("lifted edge", "press down", "3.5 mm")
    assert (flag["mended_by"], flag["ended_by"], flag["ended_how"]) == (
        "installer",
        "owner",
        "gone",
    )
    assert content["acknowledged"][0]["by"] == "Perrin Oake"
    assert [step["key"] for step in content["steps"]] == ["iron", "cut", "lay", "inspect"]
    assert content["cover"]["offer_sha256"] == passport.job.offers.get().sha256
    assert content["pictures"][0]["caption"] == "From the front"
    assert "sensor" in " ".join(content["cautions"])
    assert {type(value) for value in values(content)} == {str, int}


def test_no_price_is_in_it(passport: Passport) -> None:
    said = canonical(passport.content).decode() + text_of(passport)
    for number in ("61.93", "77.91", "EUR"):
        assert number not in said


def test_its_hash_is_that_of_the_record_that_anybody_can_fetch(
    passport: Passport, signed_in: Browser, client: Client
) -> None:
    assert passport.sha256 == sha256_of(passport.content)
    number = passport.job.number
    shop = signed_in(Role.INSTALLER).get(f"/jobs/{number}/passport/1/passport.json").content
    token = token_of(PrivateLink.objects.get())
    customer = client.get(f"/for-you/passport/{token}/1/passport.json").content
    for data in (shop, customer):
        assert hashlib.sha256(data).hexdigest() == passport.sha256
        assert json.loads(data) == passport.content


def test_it_is_never_changed(passport: Passport) -> None:
    passport.sha256 = "0" * 64
    for act in (
        passport.save,
        passport.delete,
        Passport.objects.all().delete,
        lambda: Passport.objects.update(sha256="0" * 64),
    ):
        with pytest.raises(CheckError, match="is never changed"):
            act()


def test_one_letter_changed_behind_its_back_is_seen(
    passport: Passport, signed_in: Browser, client: Client
) -> None:
    with connection.cursor() as cursor:
        changed = json.dumps(passport.content).replace("LW-7731", "LW-7732", 1)
        cursor.execute("UPDATE handback_passport SET content = %s", [changed])
    assert not is_whole(Passport.objects.get())
    page = signed_in(Role.COUNTER).get(f"/jobs/{passport.job.number}/passport/").content.decode()
    assert "not as it was made" in page
    token = token_of(PrivateLink.objects.get())
    assert "not as it was made" in client.get(f"/for-you/passport/{token}/").content.decode()


def test_a_picture_that_was_changed_is_seen(passport: Passport, signed_in: Browser) -> None:
    browser, address = signed_in(Role.COUNTER), f"/jobs/{passport.job.number}/passport/?check"
    assert "is there and as it was" in browser.get(address).content.decode()
    path_of(passport.content["pictures"][0]["sha256"]).write_bytes(b"another")
    assert (
        "Picture 1 of the finished car is missing or was changed"
        in browser.get(address).content.decode()
    )


def text_of(passport: Passport) -> str:
    data = path_of(passport.pdf.sha256).read_bytes()
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_its_paper_says_the_same_and_is_archival(passport: Passport) -> None:
    data = path_of(passport.pdf.sha256).read_bytes()
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert b"<pdfaid:part>2</pdfaid:part>" in data
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in data
    assert reader.pages[0].mediabox.width == pytest.approx(595.28, abs=0.1)  # A4
    said = text_of(passport)
    for words in ("LW-7731", "Perrin Oake", "lifted edge", "dirt under film", passport.sha256):
        assert words in said
    assert f"/for-you/passport/{token_of(PrivateLink.objects.get())}/" in said.replace(" ", "")


def test_an_american_shop_prints_on_letter(told: Job, signed_in: Browser, shop: Any) -> None:
    shop.inches = True
    shop.save()
    give(signed_in(Role.COUNTER), told)
    data = path_of(Passport.objects.get().pdf.sha256).read_bytes()
    box = pypdf.PdfReader(io.BytesIO(data)).pages[0].mediabox
    assert (float(box.width), float(box.height)) == (612.0, 792.0)


def test_own_work_is_said_plainly(people: dict[Role, Person], signed_in: Browser) -> None:
    job = a_checked_job(people, own="nobody else works here")
    give(signed_in(Role.COUNTER), job)
    found = Passport.objects.get()
    assert found.content["pieces"][0]["checked"]["own_work_because"] == "nobody else works here"
    assert "who had laid film here: nobody else works here" in text_of(found)
    token = token_of(PrivateLink.objects.get())
    page = Client().get(f"/for-you/passport/{token}/").content.decode()
    assert "inspected by somebody who had laid some of it" in page


def test_a_private_page_is_for_its_holder_alone(passport: Passport, client: Client) -> None:
    link = PrivateLink.objects.get()
    token = token_of(link)
    answer = client.get(f"/for-you/passport/{token}/")
    page = answer.content.decode()
    assert answer.headers["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert answer.headers["Cache-Control"] == "no-store, private"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert "<script" not in page
    assert "LW-7731" in page
    # On a phone its parts are folded, but for the care.
    folded = page.count('<details class="fold">')
    assert folded >= 3
    assert page.count('<details class="fold" open>') == 1
    link.refresh_from_db()
    assert link.opened == 1
    sha256 = passport.content["pictures"][0]["sha256"]
    assert client.get(f"/for-you/passport/{token}/1/{sha256}.jpg").status_code == 200
    # Only what the passport names: not the signature, not another file of the shop.
    for other in (passport.content["handed"]["signature"], passport.pdf.sha256, "0" * 64):
        assert client.get(f"/for-you/passport/{token}/1/{other}.jpg").status_code == 404
    for address in (f"{token[:-1]}x/", f"{token}/2/passport.pdf", f"{token}/9/passport.json"):
        assert client.get(f"/for-you/passport/{address}").status_code == 404
    assert client.get(f"/for-you/offer/{token}/").status_code == 404
    PrivateLink.objects.update(revoked_at=timezone.now())
    assert client.get(f"/for-you/passport/{token}/").status_code == 404


def correct(browser: Client, job: Job, because: str) -> str:
    sent = {"once": uuid.uuid4().hex, "because": because}
    answer = browser.post(f"/jobs/{job.number}/passport/correct/", sent, follow=True)
    return str(answer.content.decode())


def test_a_correction_adds_a_version_and_says_what_differs(
    passport: Passport, signed_in: Browser, people: dict[Role, Person], client: Client
) -> None:
    browser, job = signed_in(Role.COUNTER), passport.job
    assert "Nothing differs from the newest version" in correct(browser, job, "the plate")
    assert "Say why the passport is corrected" in correct(browser, job, " ")
    Vehicle.objects.filter(jobs=job).update(plate="LW 999 Z")
    a_picture(job, people[Role.COUNTER], "From behind", colour="#998877")
    correct(browser, job, "the plate was mistyped")
    first, second = Passport.objects.order_by("version")
    assert first.sha256 == passport.sha256
    assert is_whole(first)
    assert second.content["because"] == "Corrected: the plate was mistyped."
    page = client.get(f"/for-you/passport/{token_of(PrivateLink.objects.get())}/").content.decode()
    assert "The plate: “LW 999 Z” instead of “LW 204 K”." in page
    assert "1 picture more." in page
    assert first.sha256 in page
    assert second.sha256 in page
    assert (
        signed_in(Role.INSTALLER).post(f"/jobs/{job.number}/passport/correct/").status_code == 403
    )
