"""The shop's machines: added, changed, tried, put away; each change an event."""

import socket
import uuid
from collections.abc import Callable
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from layflat.cut import machine_toml
from layflat.web.people.models import Role
from layflat.web.record.models import Event
from layflat.web.sending.models import Machine
from layflat.web.sending.values import checked, generic, read_values
from web.sending.machined import a_machine

SignedIn = Callable[[Role], Client]
TYPED = {
    "name": "Long table",
    "address": "tcp://Plotter.yard",
    "knife_offset_mm": "0.3",
    "overcut_mm": "0.5",
    "force_g": "110",
    "scale_x": "1.002",
    "scale_y": "1",
    "skew": "0.001",
    "walk": "0",
    "max_width_mm": "1600",
    "max_section_mm": "3000",
    "buffer_bytes": "2048",
    "answers_position": "on",
    "seen": "0",
}


def sent(browser: Client, page: str, /, **fields: Any) -> Any:
    return browser.post(page, {"once": uuid.uuid4().hex, **fields})


def said(browser: Client) -> str:
    return browser.get("/shop/machines/").content.decode()


def test_a_machine_is_typed_changed_and_put_away(signed_in: SignedIn) -> None:
    odile = signed_in(Role.OWNER)
    assert "No machine is written down" in said(odile)
    token = {"once": uuid.uuid4().hex}
    for _ in range(2):  # a wet glove taps twice
        assert odile.post("/shop/machines/new/", TYPED | token).status_code == 302
    row = Machine.objects.get()
    values = read_values(row.values)
    assert (row.address, values.name) == ("tcp://plotter.yard:9100", "Long table")
    assert (values.scale_x, values.skew, values.force_g) == (1.002, 0.001, 110.0)
    assert (values.buffer_bytes, values.answers_position) == (2048, True)
    page = said(odile)
    assert "+0.200 % along, true across" in page
    assert "+1.00 mm on 1 m" in page
    address = f"/shop/machines/{row.pk}/"
    changed = TYPED | {"seen": "1", "scale_x": "1.004"}
    assert sent(odile, address, **changed).status_code == 302
    assert Event.objects.filter(
        sentence="Long table was changed: scale along the roll 1.002 to 1.004."
    ).exists()
    # Whoever saw the first version is told, and nothing of theirs is kept.
    answer = sent(odile, address, **(TYPED | {"seen": "1", "overcut_mm": "2"}))
    assert "Somebody changed Long table while you looked at it" in answer.content.decode()
    assert read_values(Machine.objects.get().values).overcut_mm == 0.5
    assert sent(odile, f"{address}put-away/", retired="yes").status_code == 302
    assert Machine.objects.get().is_retired
    assert "Use it again" in said(odile)
    assert Event.objects.filter(kind="sending.machine").count() == 3


def test_a_file_of_a_calibration_takes_the_place_of_what_is_typed(signed_in: SignedIn) -> None:
    odile = signed_in(Role.OWNER)
    calibrated = checked(generic(), knife_offset_mm=0.41, scale_y=0.9987, walk=-0.0004)
    file = SimpleUploadedFile("long-table.toml", machine_toml(calibrated).encode())
    assert sent(odile, "/shop/machines/new/", **TYPED, file=file).status_code == 302
    values = read_values(Machine.objects.get().values)
    assert (values.knife_offset_mm, values.scale_y, values.walk) == (0.41, 0.9987, -0.0004)
    assert values.sources == calibrated.sources


def test_what_cannot_be_is_refused_with_a_sentence(signed_in: SignedIn) -> None:
    odile = signed_in(Role.OWNER)
    a_machine(name="Short table")
    bad_file = SimpleUploadedFile("long-table.toml", b"\xff\x00 no machine")
    for fields, words in (
        ({"scale_x": "1.2"}, "scale_x"),
        ({"knife_offset_mm": "9"}, "knife_offset_mm"),
        ({"address": "ftp://plotter"}, "is no address"),
        ({"address": "tcp://plotter:0"}, "the port must be a number"),
        ({"name": "  "}, "This field is required"),
        ({"name": "SHORT table"}, "There is a machine “SHORT table” already"),
        ({"force_g": "nan"}, "Enter a number"),
        ({"file": bad_file}, "is not a TOML file"),
    ):
        answer = sent(odile, "/shop/machines/new/", **(TYPED | fields))
        assert answer.status_code == 200
        assert words in answer.content.decode()
        assert "/tmp" not in answer.content.decode()
    assert Machine.objects.count() == 1


def test_is_it_there(signed_in: SignedIn) -> None:
    odile = signed_in(Role.OWNER)
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        row = a_machine(f"tcp://127.0.0.1:{port}")
        sent(odile, f"/shop/machines/{row.pk}/there/")
        assert f"Something answers at tcp://127.0.0.1:{port}" in said(odile)
    sent(odile, f"/shop/machines/{row.pk}/there/")
    assert f"Nobody answers at tcp://127.0.0.1:{port}" in said(odile)
    gone = a_machine("serial:/dev/no-such-port", name="By cable")
    sent(odile, f"/shop/machines/{gone.pk}/there/")
    assert "There is no port /dev/no-such-port" in said(odile)


def test_only_the_owner_keeps_machines(signed_in: SignedIn) -> None:
    row = a_machine()
    for role in (Role.COUNTER, Role.INSTALLER):
        browser = signed_in(role)
        assert browser.get("/shop/machines/").status_code == 403
        for rest in ("new/", f"{row.pk}/", f"{row.pk}/there/", f"{row.pk}/put-away/"):
            assert sent(browser, f"/shop/machines/{rest}", **TYPED).status_code == 403
    assert Machine.objects.get().version == 1
