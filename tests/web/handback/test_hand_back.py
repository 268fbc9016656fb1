"""A car goes once, with everything done, signed for; and nothing is done by halves."""

import io
import itertools
import json
import uuid
from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from layflat.base import InputError
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind, Step
from layflat.web.handback import passports
from layflat.web.handback.giving import hand_back, read_taken
from layflat.web.handback.missing import missing, require_nothing_missing
from layflat.web.handback.models import FinalPicture, FollowUp, HandBack, Passport
from layflat.web.handback.signature import HEIGHT, WIDTH, read_strokes, signature_png
from layflat.web.inspection.models import Check
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.views.common import locked_job
from layflat.web.links.models import PrivateLink
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from web.handback.rows import STROKES, a_flag, a_picture, entered, give, jpeg

Browser = Callable[[Role], Client]


def nothing_was_kept(job: Job) -> None:
    assert not HandBack.objects.exists()
    assert not Passport.objects.exists()
    assert not PrivateLink.objects.exists()
    assert not FollowUp.objects.exists()
    job.refresh_from_db()
    assert job.stage != Stage.HANDED


def test_a_car_is_handed_back_with_its_passport(signed_in: Browser, job: Job) -> None:
    answer = give(signed_in(Role.COUNTER), job)
    assert answer.headers["Location"] == "/jobs/2031-0042/hand-back/"
    job.refresh_from_db()
    assert job.stage == Stage.HANDED
    found = HandBack.objects.get()
    assert (found.name, found.on_paper_because, found.care_given) == ("Perrin Oake", "", True)
    assert found.signature is not None
    assert found.signature.media_type == "image/png"
    passport = Passport.objects.get()
    assert passport.version == 1
    assert passports.is_whole(passport)
    assert passport.content["handed"]["signature"] == found.signature.sha256
    assert Step.objects.get(kind=Kind.HAND_BACK).state == Step.State.DONE
    assert FollowUp.objects.get().job == job
    kinds = list(Event.objects.filter(job=job).order_by("pk").values_list("kind", flat=True))
    for kind in ("handback.given", "handback.passport", "link.made", "handback.visit"):
        assert kinds.count(kind) == 1
    page = signed_in(Role.COUNTER).get(f"/jobs/{job.number}/hand-back/").content.decode()
    assert "/for-you/passport/" in page
    assert "QR code with the passport" in page
    # The address is the customer's and the counter's.
    assert (
        "/for-you/"
        not in signed_in(Role.INSTALLER).get(answer.headers["Location"]).content.decode()
    )


def unlaid(job: Job, _who: Person) -> None:
    cut = Cut.objects.filter(section__layout__job=job).order_by("pk")[0]
    Cut.objects.filter(pk=cut.pk).update(state=Cut.State.WEEDED)


def unchecked(job: Job, _who: Person) -> None:
    last = Check.objects.filter(round__job=job).order_by("-pk")[0]
    Check.objects.filter(pk=last.pk).update(stale_at=timezone.now())


def flagged(job: Job, who: Person) -> None:
    a_flag(job, who)


def undone(job: Job, _who: Person) -> None:
    Step.objects.filter(job=job, kind=Kind.IRON).update(state=Step.State.OPEN, ended_at=None)


def unseen(job: Job, _who: Person) -> None:
    FinalPicture.objects.filter(job=job).update(is_withdrawn=True)


def not_ended(job: Job, _who: Person) -> None:
    Job.objects.filter(pk=job.pk).update(stage=Stage.BAY)


LACKS = {
    "is not laid yet": unlaid,
    "is not checked since": unchecked,
    "Flag 1 is not ended": flagged,
    "Step not done: “Iron removal”": undone,
    "no picture of the finished car": unseen,
    "The inspection is not ended": not_ended,
}


@pytest.mark.parametrize("says", LACKS)
def test_the_server_refuses_what_the_page_no_longer_shows(
    signed_in: Browser, job: Job, people: dict[Role, Person], says: str
) -> None:
    browser = signed_in(Role.OWNER)
    assert (
        "Hand the car back</button>"
        in browser.get(f"/jobs/{job.number}/hand-back/").content.decode()
    )
    LACKS[says](job, people[Role.OWNER])
    answer = give(browser, job)
    assert answer.status_code == 200
    page = answer.content.decode()
    assert says in page
    assert "Hand the car back</button>" not in page
    nothing_was_kept(job)


def test_a_car_goes_only_when_nothing_at_all_is_missing(
    job: Job, people: dict[Role, Person]
) -> None:
    who = people[Role.OWNER]
    for count in (0, 1, 2, len(LACKS)):
        for chosen in itertools.combinations(LACKS.values(), count):
            with transaction.atomic():
                for act in chosen:
                    act(job, who)
                held = locked_job(job.number)
                assert bool(missing(held)) == bool(chosen)
                if chosen:
                    with pytest.raises(InputError):
                        require_nothing_missing(held, at=timezone.now())
                transaction.set_rollback(True)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"name": "  "}, "Type the name of whoever takes the car"),
        ({"name": "x" * 81}, "in 80 letters or fewer"),
        ({"care": ""}, "hand the care sheet over, and tick it"),
        ({"strokes": ""}, "There is no signature yet"),
        ({"strokes": "[[[5,5],[6,6]]]"}, "There is no signature yet"),
        ({"strokes": "[[[5,5000]]]"}, "did not come through"),
        ({"signed": "paper"}, "Say why it is signed on paper"),
        ({"signed": ""}, "on the screen or on paper"),
        ({"due": ""}, "on which day the car is seen again"),
        ({"due": "2031-02-30"}, "no day of the calendar"),
        ({"due": "1999-01-01"}, "is to come"),
    ],
)
def test_what_is_missing_is_said_and_what_was_entered_stays(
    signed_in: Browser, job: Job, changes: dict[str, str], says: str
) -> None:
    answer = give(signed_in(Role.COUNTER), job, **{"name": "Zoë “Z” Oake", **changes})
    page = answer.content.decode()
    assert says in page
    if "name" not in changes:
        assert "Zoë “Z” Oake" in page
    if "strokes" not in changes:
        assert STROKES in page.replace("&quot;", '"')
    nothing_was_kept(job)


def test_a_job_s_page_says_what_is_next_and_what_was_done(signed_in: Browser, job: Job) -> None:
    browser = signed_in(Role.COUNTER)
    assert "Hand the car back</a>" in browser.get(f"/jobs/{job.number}/").content.decode()
    give(browser, job)
    page = browser.get(f"/jobs/{job.number}/workshop/").content.decode()
    assert "Passport, version 1" in page
    assert "To the visit</a>" in browser.get(f"/jobs/{job.number}/").content.decode()


def test_signed_on_paper_says_why(signed_in: Browser, job: Job) -> None:
    give(signed_in(Role.COUNTER), job, signed="paper", because="the tablet's battery was empty")
    found = HandBack.objects.get()
    # What was drawn before does not count then.
    assert found.signature is None
    assert Passport.objects.get().content["handed"]["because"] == "the tablet's battery was empty"


def test_a_page_that_is_sent_again_does_nothing_again(signed_in: Browser, job: Job) -> None:
    browser, sent = signed_in(Role.COUNTER), entered()
    for _ in range(3):
        answer = browser.post(f"/jobs/{job.number}/hand-back/give/", sent)
        assert answer.headers["Location"] == "/jobs/2031-0042/hand-back/"
    assert HandBack.objects.count() == Passport.objects.count() == PrivateLink.objects.count() == 1


def test_the_second_of_two_people_is_told(signed_in: Browser, job: Job) -> None:
    give(signed_in(Role.COUNTER), job)
    answer = give(signed_in(Role.OWNER), job, name="Somebody else")
    assert "counter handed the car back to Perrin Oake already" in answer.content.decode()
    assert HandBack.objects.get().name == "Perrin Oake"
    assert Passport.objects.count() == 1


def test_two_at_the_same_moment_hand_it_back_once(
    job: Job, people: dict[Role, Person], shop: object, rf: object
) -> None:
    """Both have drafted; the second finds the first's when the job is free again."""
    from layflat.web.handback.facts import Given
    from layflat.web.links.private import new_nonce

    who, at = people[Role.COUNTER], timezone.now()
    taken = read_taken(
        name="Perrin Oake",
        signed="screen",
        strokes=STROKES,
        because="",
        care=True,
        due_on=at.date(),
    )
    given_now = Given(name=taken.name, signature="", on_paper_because="x", by=who.shown, at=at)
    made = [
        passports.draft(job, given_now, because="Made.", shop=shop, address="", at=at)  # type: ignore[arg-type]
        for _ in range(2)
    ]
    hand_back(job, taken, made[0], nonce=new_nonce(), shop=shop, who=who)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="already"):
        hand_back(job, taken, made[1], nonce=new_nonce(), shop=shop, who=who)  # type: ignore[arg-type]


def test_what_changes_while_the_paper_is_set_is_not_passed_over(
    signed_in: Browser, job: Job, people: dict[Role, Person], monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(*_arguments: object, **_options: object) -> bytes:
        a_picture(job, people[Role.OWNER], "meanwhile")
        return b"%PDF-1.7"

    monkeypatch.setattr(passports, "passport_pdf", slow)
    answer = give(signed_in(Role.COUNTER), job)
    assert "Something was changed on this job" in answer.content.decode()
    nothing_was_kept(job)


def test_only_the_counter_gives_a_car_away(signed_in: Browser, job: Job, client: Client) -> None:
    assert give(signed_in(Role.INSTALLER), job).status_code == 403
    assert give(client, job).headers["Location"].startswith("/sign-in/")
    nothing_was_kept(job)


def test_pictures_are_taken_withdrawn_and_put_back(
    signed_in: Browser, job: Job, people: dict[Role, Person]
) -> None:
    browser, page = signed_in(Role.INSTALLER), f"/jobs/{job.number}/hand-back/"
    exif = Image.Exif()
    exif[0x010F] = "a camera's maker"
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "red").save(out, "JPEG", exif=exif)
    photo = SimpleUploadedFile("a.jpg", out.getvalue(), "image/jpeg")
    sent = {"once": uuid.uuid4().hex, "caption": "Hood", "photos": photo}
    browser.post(f"{page}pictures/", sent)
    found = FinalPicture.objects.get(caption="Hood")
    data = browser.get(f"{page}pictures/{found.pk}/picture.jpg").content
    assert b"camera" not in data
    browser.post(f"{page}pictures/{found.pk}/withdraw/", {"once": uuid.uuid4().hex})
    found.refresh_from_db()
    assert found.is_withdrawn
    assert Event.objects.get(kind="handback.picture-withdrawn").who == people[Role.INSTALLER]
    browser.post(f"{page}pictures/{found.pk}/put-back/", {"once": uuid.uuid4().hex})
    found.refresh_from_db()
    assert not found.is_withdrawn
    other = browser.get(f"/jobs/2031-0001/hand-back/pictures/{found.pk}/picture.jpg")
    assert other.status_code == 404


def test_a_picture_of_60_mb_is_refused_in_a_sentence(signed_in: Browser, job: Job) -> None:
    huge = SimpleUploadedFile("huge.jpg", jpeg() + bytes(60_000_000), "image/jpeg")
    before = FinalPicture.objects.count()
    answer = signed_in(Role.COUNTER).post(
        f"/jobs/{job.number}/hand-back/pictures/",
        {"once": uuid.uuid4().hex, "photos": huge},
        follow=True,
    )
    assert "The picture is larger than 25 MB" in answer.content.decode()
    assert FinalPicture.objects.count() == before


def test_pages_ask_little(signed_in: Browser, job: Job) -> None:
    browser = signed_in(Role.OWNER)
    asked = {}
    for path in ("hand-back/", "passport/", "follow-up/"):
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(f"/jobs/{job.number}/{path}").status_code == 200
        asked[path] = len(queries)
    give(browser, job)
    for path in ("hand-back/", "passport/", "follow-up/"):
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(f"/jobs/{job.number}/{path}").status_code == 200
        asked[f"given {path}"] = len(queries)
    assert max(asked.values()) <= 15, asked


@settings(deadline=None, max_examples=50)
@given(
    st.lists(
        st.lists(st.tuples(st.integers(0, WIDTH), st.integers(0, HEIGHT)), min_size=1, max_size=30),
        max_size=20,
    )
)
def test_every_signature_comes_through_as_it_was_drawn(
    strokes: list[list[tuple[int, int]]],
) -> None:
    text = json.dumps([[list(point) for point in stroke] for stroke in strokes])
    read = read_strokes(text)
    assert read == strokes
    try:
        png = signature_png(read)
    except InputError:
        return
    assert png == signature_png(read)
    with Image.open(io.BytesIO(png)) as image:
        assert image.size == (WIDTH, HEIGHT)
        assert image.getextrema()[0] == 0


@given(
    st.text(max_size=200)
    | st.recursive(st.integers() | st.none() | st.text(), st.lists).map(json.dumps)
)
def test_whatever_else_is_sent_is_refused_or_read(text: str) -> None:
    try:
        strokes = read_strokes(text)
    except InputError:
        return
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for stroke in strokes for x, y in stroke)


@pytest.mark.parametrize("text", ["[" * 100_000, "[[" + "[1,1]," * 40_000 + "[1,1]]]", "1e999"])
def test_a_signature_beyond_bounds_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_strokes(text)
