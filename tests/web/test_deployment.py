"""Django's deployment check, HTTPS through a web server before the app, a port that is taken."""

import asyncio
import os
import re
import socket
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from asgiref.testing import ApplicationCommunicator
from pytest_django.fixtures import Settings

from layflat.base import SettingError
from layflat.web.proxies import proxies
from layflat.web.serve import serve

HTTP_ONLY = {
    "security.W004",  # no HSTS: browsers cannot be told to use HTTPS where there is none
    "security.W008",  # no redirect to HTTPS: likewise
    "security.W012",  # session cookies also through HTTP, or nobody could sign in
    "security.W016",  # form tokens also through HTTP, or no form could be sent
}
"""What Django's check says of an app without HTTPS; docs/serving.md tells when that will do."""


@pytest.mark.parametrize(("https", "expected"), [("yes", set()), ("", HTTP_ONLY)])
def test_the_deployment_check_complains_of_missing_https_only(
    tmp_path: Path, https: str, expected: set[str]
) -> None:
    ours = ("LAYFLAT_", "DATABASE_", "DJANGO_")
    kept = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
    mine = {"LAYFLAT_DATA": str(tmp_path), "LAYFLAT_HTTPS": https}
    done = subprocess.run(
        [sys.executable, "-m", "django", "check", "--deploy"],
        env={**kept, **mine, "DJANGO_SETTINGS_MODULE": "layflat.web.settings"},
        capture_output=True,
        text=True,
        check=False,
    )
    said = done.stdout + done.stderr
    assert done.returncode == 0, said
    assert set(re.findall(r"security\.\w+", said)) == expected
    assert "(0 silenced)" in said


def ask(client: str, headers: dict[str, str]) -> tuple[int, str]:
    """Status and place (or text) that the app, as it is served, answers to a web server."""
    from layflat.web.asgi import behind_proxies

    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": "/static/layflat/icon.svg",
        "query_string": b"",
        "headers": [(name.lower().encode(), value.encode()) for name, value in headers.items()],
        "client": (client, 41234),
        "server": ("127.0.0.1", 8737),
    }

    async def talk() -> tuple[dict[str, Any], str]:
        app = ApplicationCommunicator(behind_proxies(), scope)
        await app.send_input({"type": "http.request"})
        start, text = await app.receive_output(60), ""
        more = True
        while more:
            part = await app.receive_output(60)
            text, more = text + part.get("body", b"").decode(), part.get("more_body", False)
        await app.wait(60)
        return start, text

    # In a thread of its own: this one may have a loop already, which browsers' tests leave running.
    with ThreadPoolExecutor(1) as apart:
        start, text = apart.submit(lambda: asyncio.run(talk())).result()
    return start["status"], dict(start["headers"]).get(b"Location", b"").decode() or text


@pytest.fixture
def https(settings: Settings) -> None:
    settings.SECURE_SSL_REDIRECT = True
    settings.ALLOWED_HOSTS = ["shop.example"]
    settings.PROXIES = proxies("10.0.0.7, 10.1.0.0/24")


@pytest.mark.parametrize("server", ["10.0.0.7", "10.1.0.200"])
def test_a_named_web_server_is_believed(https: None, server: str) -> None:
    through = {"Host": "shop.example", "X-Forwarded-For": "198.51.100.4"}
    status, _ = ask(server, {**through, "X-Forwarded-Proto": "https"})
    assert status == 200
    answer = ask(server, {**through, "X-Forwarded-Proto": "http"})
    assert answer == (301, "https://shop.example/static/layflat/icon.svg")


@pytest.mark.parametrize("server", ["10.0.0.8", "127.0.0.1"])
def test_another_is_told_apart_instead_of_sent_in_circles(
    https: None, server: str, caplog: pytest.LogCaptureFixture
) -> None:
    status, text = ask(server, {"Host": "shop.example", "X-Forwarded-Proto": "https"})
    assert status == 400
    assert f"add {server} to LAYFLAT_PROXY" in text
    assert text.strip() in caplog.text
    # What is no such claim is sent to HTTPS as ever.
    assert ask(server, {"Host": "shop.example"})[0] == 301


@pytest.mark.parametrize("name", ["*", "proxy.example", "10.0.0.7/8", "10.0.0.300"])
def test_what_is_no_address_is_refused(name: str) -> None:
    with pytest.raises(SettingError, match=r"LAYFLAT_PROXY names “.*” *, which is no address"):
        proxies(f"10.0.0.7,{name}")


def test_a_taken_port_is_said_before_anything_is_done(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(SettingError, match=f"port {port}: Address already in use"):
            serve(tmp_path / "data", port=port)
    assert not (tmp_path / "data").exists()
