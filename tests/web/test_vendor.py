"""Browser libraries: every file that they import is served, and nothing else of the packages."""

import json
import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.core.management import call_command

from layflat.web import vendor

NPM = vendor.NODE_MODULES.parent
IMPORTED = re.compile(r"^(?:import|export)\b[^;]*?\bfrom\s*'(\.[^']+)';", re.MULTILINE)


def test_each_file_is_found_and_what_it_imports_too() -> None:
    for name in vendor.VENDORED:
        found = finders.find(name)
        assert isinstance(found, str), name
        text = Path(found).read_text(encoding="utf-8")
        for wanted in re.findall(
            r"^(?:import|export)\b[^;]*?\bfrom\s*'(\.[^']+)';", text, re.MULTILINE
        ):
            beside = (Path("/") / name).parent / wanted
            assert str(beside.resolve()).lstrip("/") in vendor.VENDORED, f"{name} imports {wanted}"


def test_the_list_is_what_is_found() -> None:
    listed = dict(vendor.VendorFinder().list(None))
    assert set(listed) == set(vendor.VENDORED)
    assert all(Path(storage.path(name)).is_file() for name, storage in listed.items())


@pytest.mark.parametrize(
    "name", ["vendor/three/three.cjs", "vendor/../npm/package.json", "npm/package.json"]
)
def test_nothing_else_of_the_packages_has_an_address(name: str) -> None:
    assert not finders.find(name)


def test_a_missing_library_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert vendor.VendorFinder().check() == []
    monkeypatch.setattr(vendor, "NODE_MODULES", tmp_path)
    assert "htmx.js" in vendor.VendorFinder().check()[0].msg
    assert list(vendor.VendorFinder().list(None)) == []


def test_the_lock_names_hashes_and_no_host() -> None:
    lock = json.loads((NPM / "package-lock.json").read_text(encoding="utf-8"))
    packages = {name: entry for name, entry in lock["packages"].items() if name}
    assert all(entry["integrity"].startswith("sha512-") for entry in packages.values())
    assert not any("resolved" in entry for entry in packages.values())


def test_collecting_takes_the_files(settings, tmp_path: Path) -> None:
    settings.STATIC_ROOT = tmp_path
    call_command("collectstatic", interactive=False, verbosity=0)
    for name, place in vendor.VENDORED.items():
        assert (tmp_path / name).read_bytes() == (vendor.NODE_MODULES / place).read_bytes()
