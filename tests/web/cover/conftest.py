"""The dome, in each test's database."""

from pathlib import Path

import pytest
from pytest_django.fixtures import Settings

from job_workshop import write_workshop
from layflat.web.cover import measure
from layflat.web.people.models import Shop
from web.cover.domes import Domes, Memo


@pytest.fixture(scope="session")
def dome_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dome")
    write_workshop(folder)
    return folder


@pytest.fixture(scope="session")
def dome_memo() -> Memo:
    return {}


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
