"""A job of the invented workshop, and pictures as tablets send them."""

import io
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from layflat.web.jobs.enquiry import Enquiry, open_job
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person, Role, Shop


@pytest.fixture
def job(shop: Shop, people: dict[Role, Person]) -> Job:
    """An enquiry: a van, described in words."""
    enquiry = Enquiry(
        name="Perrin Oake",
        phone="+43 1 555-01",
        plate="LW 204 K",
        described="Tarnholm Haulbeck",
        wishes="The nose, against stones.",
    )
    return open_job(enquiry, shop=shop, who=people[Role.COUNTER])


@pytest.fixture
def on_walk(job: Job) -> Job:
    """A job whose walk-round is going on."""
    job.stage = Stage.INTAKE
    job.save()
    return job


@pytest.fixture
def sent() -> Callable[..., dict[str, Any]]:
    """What a browser sends: the fields, with a token of a page of its own."""

    def form(**fields: Any) -> dict[str, Any]:
        return {"once": uuid.uuid4().hex, **fields}

    return form


def jpeg(width: int = 640, height: int = 480, **options: Any) -> bytes:
    """A picture with something in every corner."""
    image = Image.linear_gradient("L").resize((width, height)).convert("RGB")
    out = io.BytesIO()
    image.save(out, "JPEG", **options)
    return out.getvalue()
