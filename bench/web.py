"""Server time of every page of the app over a shop's ten years, against the limit of 100 ms.

`python -m bench web` seeds 10,000 jobs of which 500 are open, 60,000 faults, 200,000 events, 300
bodies, 5,000 computations, for each job two covers, one of them computed with six pieces, an offer
and a private link, 2,000 rolls with 50,000 movements, every piece cut and laid, 200 cars in the
bay, 5,000 bookings and 50,000 taps, into SQLite in a folder that goes when it ends. The invented
coupe is prepared and its nose computed in earnest; the other jobs' covers, pieces and offers are
copies of that.

Then it asks for each page 40 times as the owner, in one process and through every middleware.
The 95th percentile counts. Beside it stands the barest page that the app has, the door: what there
is to pay for session, policy and template alone.
"""

import datetime
import random
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from bench._bay_rows import seed_bay
from bench._empty_app import empty_app
from bench._stock_rows import ROLLS, ROLLS_A_LOT, seed_stock

JOBS, OPEN_JOBS, FAULTS, EVENTS = 10_000, 500, 60_000, 200_000
BODIES, COMPUTATIONS = 300, 5_000
TIMES, WARM_UPS = 40, 3
LIMIT_MS = 100.0
MOST_QUERIES = 15
_BATCH = 5_000


def main() -> None:
    with empty_app():
        began = time.perf_counter()
        seed()
        seed_covers()
        seed_stock()
        seed_bay()
        print(f"seeded in {time.perf_counter() - began:.0f} s")
        measure()


def seed() -> None:
    """A shop's record; customers with three vehicles each, jobs a few hours apart."""
    from django.contrib.auth.hashers import make_password
    from django.db import transaction
    from django.utils import timezone

    from layflat.web.bodies.models import Body, Revision
    from layflat.web.files.models import StoredFile
    from layflat.web.jobs.models import Customer, Fault, Job, Stage, Vehicle
    from layflat.web.people.models import Person, Role, Shop
    from layflat.web.record.models import Event
    from layflat.web.work.models import Computation, State

    dice = random.Random(7)
    today = timezone.now().date()
    password = make_password("not asked for here")
    with transaction.atomic():
        Shop.objects.create(name="Lampwick Yard")
        people = [
            Person.objects.create(name=f"p{i}", shown=f"Person {i}", role=role, password=password)
            for i, role in enumerate([*Role, *Role])
        ]
        computations = _insert(
            Computation,
            (
                Computation(
                    task="bodies.prepare",
                    inputs={},
                    key=str(i),
                    state=State.STOPPED,
                    began_at=timezone.now(),
                    ended_at=timezone.now(),
                )
                for i in range(COMPUTATIONS)
            ),
        )
        scan = StoredFile.objects.create(sha256="0" * 64, size=1, media_type="x", name="scan.ply")
        bodies = _insert(Body, (Body(maker="Tarnholm", name=f"No. {i}") for i in range(BODIES)))
        _insert(
            Revision,
            (
                Revision(body=body, number=1, scan=scan, unit="mm", preparation=made)
                for body, made in zip(bodies, computations, strict=False)
            ),
        )
        customers = _insert(Customer, (Customer(name=f"Customer {i}") for i in range(JOBS // 4)))
        vehicles = _insert(
            Vehicle,
            (
                Vehicle(
                    customer=dice.choice(customers),
                    plate=f"LY {i}",
                    described="Tarnholm Siskwing",
                )
                for i in range(JOBS * 3 // 4)
            ),
        )
        open_stages = [stage for stage in Stage if stage is not Stage.CLOSED]
        jobs = _insert(
            Job,
            (
                Job(
                    number=f"{2022 + i // 1000}-{i % 1000:04d}",
                    vehicle=dice.choice(vehicles),
                    stage=dice.choice(open_stages) if i >= JOBS - OPEN_JOBS else Stage.CLOSED,
                    wishes="Hood, fenders, mirror caps.",
                    assigned=dice.choice(people),
                    promised=today + datetime.timedelta(days=dice.randrange(-5, 40)),
                    blocked_by="film on order" if dice.random() < 0.1 else "",
                )
                for i in range(JOBS)
            ),
        )
        _insert(
            Fault,
            (
                Fault(job=jobs[i % JOBS], number=1 + i // JOBS, panel="hood", kind="chip")
                for i in range(FAULTS)
            ),
        )
        _insert(
            Event,
            (
                Event(job=dice.choice(jobs), who=people[0], by="Person 0", kind="job.changed",
                      sentence="Something about the job was changed.", before={}, after={})
                for _ in range(EVENTS)
            ),
        )  # fmt: skip


def seed_covers() -> None:
    """For each job two covers, the first computed and offered; all like one that was computed."""
    from django.db import transaction
    from django.utils import timezone

    from bench.cover import finished
    from layflat.web.cover.choices import to_json
    from layflat.web.cover.measure import ask_measures
    from layflat.web.cover.models import Cover, Outcome, Piece
    from layflat.web.cover.outcomes import ask_for, fill
    from layflat.web.jobs.models import Job, Stage
    from layflat.web.links.models import PrivateLink, Purpose
    from layflat.web.links.private import make
    from layflat.web.offer.making import Wanted, draft, keep_version, paper_of
    from layflat.web.offer.models import Offer
    from layflat.web.people.models import Person, Shop

    who = Person.objects.order_by("pk").first()
    Shop.objects.update(film_per_metre="62", rate_per_hour="78", film_cost_per_metre="30")
    shop = Shop.objects.get()
    coupe = coupe_in_library(who)
    finished(ask_measures(coupe, who=who))
    model = Job.objects.filter(stage=Stage.COVER).order_by("pk").last()
    assert model is not None
    model.vehicle.body = coupe
    model.vehicle.save()
    nose = to_json(_nose(coupe))
    cover = Cover.objects.create(job=model, number=1, title="Nose", body=coupe, choices=nose)
    finished(ask_for(cover, who=who))
    outcome = fill(cover)
    assert outcome is not None
    wanted = Wanted(covers=(cover.pk,))
    made = draft(model, wanted, shop=shop, version=1)
    with transaction.atomic():
        offer = keep_version(model, wanted, made, paper_of(made, shop=shop), shop=shop, who=who)
        make(model, Purpose.OFFER, days=30, who=who)
    pieces = list(outcome.pieces.all())
    others = list(Job.objects.exclude(pk=model.pk).order_by("pk"))
    with transaction.atomic():
        covers = _insert(
            Cover,
            (
                _copy(cover, job=job, number=number, title=title, computation=computation)
                for number, title, computation in (
                    (1, "Nose", cover.computation),
                    (2, "Nose again", None),
                )
                for job in others
            ),
        )
        outcomes = _insert(Outcome, (_copy(outcome, cover=of) for of in covers[: len(others)]))
        _insert(Piece, (_copy(piece, outcome=of) for of in outcomes for piece in pieces))
        offers = _insert(
            Offer,
            (
                _copy(offer, job=job, content=_content(offer.content, job, of))
                for job, of in zip(others, outcomes, strict=True)
            ),
        )
        _insert(
            Offer.outcomes.through,
            (
                Offer.outcomes.through(offer=kept, outcome=of)
                for kept, of in zip(offers, outcomes, strict=True)
            ),
        )
        _insert(
            PrivateLink,
            (
                PrivateLink(
                    job=job,
                    purpose=Purpose.OFFER,
                    nonce="00" * 32,
                    digest=str(job.pk),
                    expires_at=timezone.now(),
                    made_by=who,
                )
                for job in others
            ),
        )


def coupe_in_library(who: Any) -> Any:
    """The invented coupe, prepared."""
    from bench.cover import finished
    from layflat.web.bodies.library import fill
    from layflat.web.seed_bodies import seed_bodies

    (coupe,) = (body for name, body in seed_bodies(who=who).items() if "Siskwing" in name)
    finished(coupe.preparation)
    coupe.refresh_from_db()
    fill(coupe)
    return coupe


def _nose(revision: Any) -> Any:
    """The cover that most people ask for: six panels."""
    from layflat.web.cover.choices import Choices, PanelChoice
    from layflat.web.cover.panels import panels_on

    nose = ("hood", "bumper", "fender", "mirror")
    names = [name for name in panels_on(revision).panels if name.startswith(nose)]
    return Choices(tuple(PanelChoice(panel=name) for name in names))


def _copy(row: Any, **changed: Any) -> Any:
    """A new row like one that is there, but for some fields."""
    values = {
        field.attname: getattr(row, field.attname)
        for field in row._meta.concrete_fields
        if not field.primary_key
    }
    fresh = type(row)(**values)
    for name, value in changed.items():
        setattr(fresh, name, value)
    return fresh


def _content(content: dict[str, Any], job: Any, outcome: Any) -> dict[str, Any]:
    """What an offer says, with another job's number and keys."""
    return {
        **content,
        "job": job.number,
        "alternatives": [
            {**item, "cover": outcome.cover_id, "outcome": outcome.pk}
            for item in content["alternatives"]
        ],
    }


def _insert(model: Any, rows: Iterator[Any]) -> list[Any]:
    return list(model.objects.bulk_create(rows, batch_size=_BATCH))


def measure() -> None:
    from django.test import Client
    from django.test.utils import setup_test_environment, teardown_test_environment

    from layflat.web.asgi import settle
    from layflat.web.people.models import Person, Role

    settle()
    setup_test_environment()
    browser = Client()
    owner = Person.objects.filter(role=Role.OWNER).first()
    assert owner is not None
    samples, left_out = sampled_addresses()
    barest = server_ms(Client(), lambda: "/sign-in/")
    assert not isinstance(barest, str)
    browser.force_login(owner)
    rows = [("the door, as a stranger", *barest)]
    for name, address in samples:
        times = server_ms(browser, address)
        if isinstance(times, str):
            left_out.append(f"{name} ({times})")
        else:
            rows.append((name, *times))
    teardown_test_environment()
    print(f"{'page':34} queries  median ms  95th ms  of the limit  of the door")
    for name, queries, median, high in rows:
        print(
            f"{name:34} {queries:7d} {median:10.1f} {high:8.1f} "
            f"{high / LIMIT_MS:13.2f} {high / barest[2]:12.1f}"
        )
    print(f"not measured: {', '.join(left_out) or 'nothing'}")
    slow = [name for name, queries, _, high in rows if high > LIMIT_MS or queries > MOST_QUERIES]
    if slow:
        sys.exit(f"Over {LIMIT_MS:.0f} ms or {MOST_QUERIES} queries: {', '.join(slow)}")


def server_ms(browser: Any, address: Callable[[], str]) -> tuple[int, float, float] | str:
    """Most queries, median and 95th percentile in ms; in words why there is nothing to measure."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from layflat.web.asgi import tidy

    times, queries = [], 0
    for i in range(WARM_UPS + TIMES):
        place = address()
        if i < WARM_UPS:
            with CaptureQueriesContext(connection) as asked:
                status = browser.get(place).status_code
            queries = max(queries, len(asked))
            if status != 200:
                return f"answers {status}"
            continue
        tidy()  # as the server does between answers
        began = time.perf_counter()
        browser.get(place)
        times.append((time.perf_counter() - began) * 1e3)
    return queries, float(np.median(times)), float(np.percentile(times, 95))


def sampled_addresses() -> tuple[list[tuple[str, Callable[[], str]]], list[str]]:
    """Each address by name with a way to draw one of its kind, and those without a way."""
    from django.urls import URLPattern, URLResolver, get_resolver, reverse

    from layflat.web.bodies.models import Body
    from layflat.web.diary.models import Booking
    from layflat.web.jobs.models import Job, Stage
    from layflat.web.links.models import PrivateLink
    from layflat.web.links.private import token_of
    from layflat.web.people.models import Person
    from layflat.web.stock.models import Roll
    from layflat.web.work.models import Computation

    def keys(model: Any) -> list[int]:
        return list(model.objects.order_by("-pk").values_list("pk", flat=True)[:2000])

    dice = random.Random(11)
    tokens = [token for token in map(token_of, PrivateLink.objects.order_by("pk")[:1]) if token]
    numbers = list(Job.objects.order_by("-pk").values_list("number", flat=True)[:2000])
    bay = list(Job.objects.filter(stage=Stage.BAY).values_list("number", flat=True))
    drawn: dict[str, dict[str, list[Any]]] = {
        "bay": {"number": bay},
        "cutting": {"number": bay},
        "gates": {"number": bay},
        "handback": {"number": bay},
        "diary": {"number": bay, "booking": keys(Booking)},
        "jobs": {"number": numbers, "part": ["wishes", "hold", "vehicle", "customer"]},
        "cover": {"number": numbers, "cover": [1, 2]},
        "fit": {"number": numbers, "cover": [1], "piece": list(range(1, 7))},
        "offer": {
            "number": numbers,
            "version": [1],
            "token": tokens,
            "place": [1],
            "what": ["lines.json", "picture.png"],
        },
        "links": {"number": numbers},
        "people": {"key": keys(Person)},
        "bodies": {"pk": keys(Body), "number": [1]},
        "work": {"pk": keys(Computation)},
        "stock": {"roll": keys(Roll)},
        "finding": {"lot": [f"LW-{i:04d}" for i in range(ROLLS // ROLLS_A_LOT)]},
    }
    found: list[tuple[str, Callable[[], str]]] = []
    left_out: list[str] = []

    def walk(entries: list[URLPattern | URLResolver], space: str) -> None:
        for entry in entries:
            if isinstance(entry, URLResolver):
                walk(entry.url_patterns, entry.namespace or space)
                continue
            name, needs = f"{space}:{entry.name}", tuple(entry.pattern.converters)
            samples = drawn.get(space, {})
            if not set(needs) <= set(samples):
                left_out.append(f"{name} (no samples)")
                continue

            def address(
                name: str = name,
                needs: tuple[str, ...] = needs,
                samples: dict[str, list[Any]] = samples,
            ) -> str:
                return reverse(name, kwargs={need: dice.choice(samples[need]) for need in needs})

            found.append((name, address))

    walk(get_resolver().url_patterns, "")
    search = reverse("jobs:find")
    found.append(("jobs:find, a name", lambda: f"{search}?q=CUSTOMER+{dice.randrange(JOBS // 4)}"))
    found.append(("jobs:find, nothing", lambda: f"{search}?q=no+such+{dice.randrange(1000)}"))
    found.append(("jobs:find, the last page", lambda: f"{search}?page={JOBS}"))
    box, stock = reverse("finding:find"), reverse("stock:stock")
    found.append(("finding:find, a name", lambda: f"{box}?q=CUSTOMER+{dice.randrange(100)}"))
    found.append(("finding:find, a plate", lambda: f"{box}?q=ly{dice.randrange(JOBS // 4)}"))
    found.append(("finding:find, a lot", lambda: f"{box}?q=lw-{dice.randrange(ROLLS // 40):03d}"))
    found.append(("finding:find, nothing", lambda: f"{box}?q=no+such+{dice.randrange(1000)}"))
    found.append(("stock:stock, all, the last", lambda: f"{stock}?which=all&page={ROLLS}"))
    return found, left_out


if __name__ == "__main__":
    main()
