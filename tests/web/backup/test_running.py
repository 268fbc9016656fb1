"""A running shop is backed up and restored, on both databases and from one to the other."""

import stat
import urllib.error
from pathlib import Path

import pytest
from django.contrib.auth import authenticate

from layflat.base import file_sha256
from layflat.web.backup.rows import count, snapshot
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Customer
from layflat.web.links.models import PrivateLink
from layflat.web.links.private import token_of
from layflat.web.offer.models import Offer
from layflat.web.offer.standing import is_whole
from web.backup.conftest import PASSWORD, NewYard, filled
from web.backup.yards import Counter, Yard

pytestmark = pytest.mark.long

OTHER = {"sqlite": "postgres", "postgres": "sqlite"}


@pytest.mark.parametrize("kind", ["sqlite", "postgres"])
def test_a_shop_that_goes_on_working_is_restored_on_either_database(
    new_yard: NewYard, tmp_path: Path, kind: str
) -> None:
    yard = filled(new_yard, kind)
    path = tmp_path / "yard.layflat"
    with yard.served() as url:
        one = Counter(yard.browser("counter"), url, "Perrin")
        two = Counter(yard.browser("owner"), url, "Marit")
        with one, two:
            acknowledged = one.until(3) + two.until(3)
            said = yard.done("backup", path)
            # Nobody had to wait for it.
            one.until(len(one.booked) + 1)
        in_all = set(one.booked) | set(two.booked)
    assert "The secret key is in it" in said
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert list(tmp_path.iterdir()) == [path]

    again = new_yard(kind)
    assert "Lampwick Yard is restored" in again.done("restore", path)
    elsewhere = new_yard(OTHER[kind])
    elsewhere.done("restore", path)
    assert again.hashes() == elsewhere.hashes()

    with again.inside():
        names = set(Customer.objects.values_list("name", flat=True))
        assert set(acknowledged) <= names <= in_all | {"Perrin Oake"}
        # New rows get keys of their own, and a snapshot knows nothing of what comes after it.
        with snapshot() as found:
            model = found.apps.get_model("jobs", "Customer")
            before = count(model)
            Customer.objects.create(name="Somebody new")
            assert count(model) == before
        assert authenticate(username="counter", password=PASSWORD)
        assert all(is_whole(offer) for offer in Offer.objects.all())
        for stored in StoredFile.objects.all():
            assert file_sha256(path_of(stored.sha256)) == stored.sha256
        token = token_of(PrivateLink.objects.get())
    with yard.inside():
        assert token == token_of(PrivateLink.objects.get())
    with again.served() as url:
        page = again.browser("owner").open(f"{url}/jobs/?q=2031-0042").read().decode()
        assert "/jobs/2031-0042/" in page
        assert _status(again, f"{url}/for-you/vehicle/{token}/") == 200
        assert _status(again, f"{url}/for-you/vehicle/{token[:-1]}x/") == 404


def _status(yard: Yard, address: str) -> int:
    try:
        return int(yard.browser().open(address).status)
    except urllib.error.HTTPError as error:
        return error.code


def test_what_an_older_version_kept_is_brought_up_to_date(
    new_yard: NewYard, tmp_path: Path
) -> None:
    older, newer = new_yard("sqlite"), new_yard("postgres")
    older.python(
        "prepare_data_folder(folder); use_data_folder(folder)",
        "from django.core.management import call_command",
        "call_command('migrate', 'jobs', '0002', verbosity=0)",
        "from django.db import connection",
        "into = 'INSERT INTO jobs_customer (id, name, phone, email, address, version)'",
        "values = ['Zoë Oake', '', '', '']",
        "connection.cursor().execute(into + ' VALUES (7, %s, %s, %s, %s, 1)', values)",
    )
    older.done("backup", tmp_path / "older.layflat")
    newer.done("restore", tmp_path / "older.layflat")
    with newer.inside():
        found = Customer.objects.get(pk=7)
        # The column came later, and was filled as updating in place fills it.
        assert (found.name, found.name_folded) == ("Zoë Oake", "zoe oake")
