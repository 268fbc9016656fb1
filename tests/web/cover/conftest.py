"""The dome in each test's database, and a cover of it that is changed as its page does."""

from pathlib import Path
from typing import Any

import pytest
from pytest_django.fixtures import Settings

from job_workshop import write_workshop
from layflat.web.cover import measure
from layflat.web.cover.choices import Choices, PanelChoice, to_json
from layflat.web.cover.choosing import edge_seen, extent_seen, keep_out_seen, panel_seen
from layflat.web.cover.models import Cover
from layflat.web.people.models import Role, Shop
from web.cover.domes import Domes, Memo
from web.cover.the_page import Browser, Send, at, now
from web.covered import a_job


@pytest.fixture(scope="session")
def dome_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dome")
    write_workshop(folder)
    return folder


@pytest.fixture(scope="session")
def dome_memo(tmp_path_factory: pytest.TempPathFactory) -> Memo:
    return Memo(tmp_path_factory)


@pytest.fixture
def domes(
    dome_folder: Path, dome_memo: Memo, quick_and_apart: None, settings: Settings, shop: Shop
) -> Domes:
    settings.FILES_FOLDER = dome_folder / "files"
    # What was measured in another test is in memory still, though its rows are gone.
    measure._read.cache_clear()
    shop.roll_width_mm = 610.0
    shop.film_per_metre, shop.rate_per_hour, shop.tax_rate = 60, 70, "0.2"
    shop.save()
    shop.refresh_from_db()
    return Domes(dome_folder, dome_memo)


@pytest.fixture
def cover(domes: Domes) -> Cover:
    """An alternative that covers the left panel, of a job that stands at its cover."""
    job = a_job(body=domes.revision)
    return Cover.objects.create(
        job=job,
        number=1,
        title="Nose only",
        body=domes.revision,
        choices=to_json(Choices((PanelChoice(panel="left"),))),
    )


@pytest.fixture
def send(signed_in: Browser, cover: Cover) -> Send:
    """Sends a change as the page does, with what the page shows now unless told otherwise."""

    def post(kind: str, panel: str = "left", *, role: Role = Role.COUNTER, **fields: Any) -> Any:
        if "was" not in fields:
            choices, name = now(cover), fields.get("name", "")
            fields["was"] = {
                "edge": lambda: edge_seen(choices, panel, name),
                "over": lambda: keep_out_seen(choices, panel, name),
                "free": lambda: keep_out_seen(choices, panel, name),
                "bare": lambda: panel_seen(choices, panel),
                "wrap-free": lambda: panel_seen(choices, panel),
            }.get(kind, lambda: extent_seen(choices, panel))()
        return signed_in(role).post(
            at(cover, "change/"),
            {"kind": kind, "panel": panel, **fields},
            headers={"HX-Request": "true"},
        )

    return post
