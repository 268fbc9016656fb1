"""Archives: what goes in comes out, to the byte; whatever was tampered with is refused."""

import hashlib
import io
import json
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from exchange.parcels import KEY, SHOP, contents
from layflat.base import InputError, LayflatError
from layflat.exchange import (
    MANIFEST,
    SIGNATURE,
    Key,
    Part,
    Standing,
    fingerprint,
    missing,
    opened,
    pack,
    read_fingerprint,
    read_json,
    standing,
)
from layflat.exchange.sign import signature_json
from layflat.exchange.zipped import write_zip

SCHEMA = Path(__file__).parents[2] / "docs" / "exchange.schema.json"


def packed() -> bytes:
    found, parts = contents()
    file = io.BytesIO()
    pack(found, parts, key=KEY, shop=SHOP).copy_to(file)
    return file.getvalue()


@pytest.fixture(scope="module")
def whole() -> bytes:
    return packed()


def look(data: bytes, folder: Path) -> Any:
    place = folder / "archive.zip"
    place.write_bytes(data)
    with opened(place) as found:
        return found


def entries(data: bytes) -> list[Part]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return [Part(info.filename, archive.read(info)) for info in archive.infolist()]


def zipped(parts: list[Part]) -> bytes:
    file = io.BytesIO()
    write_zip(file, parts)
    return file.getvalue()


def resigned(manifest: bytes, rest: list[Part]) -> bytes:
    """An archive whose signer is ready to lie."""
    signed = signature_json(manifest, key=KEY, shop=SHOP)
    return zipped([Part(MANIFEST, manifest), Part(SIGNATURE, signed), *rest])


def changed(data: bytes, change: Callable[[dict[str, Any]], object]) -> bytes:
    first, _, *rest = entries(data)
    assert isinstance(first.data, bytes)
    values = json.loads(first.data)
    change(values)
    return resigned(json.dumps(values).encode(), rest)


def test_second_pack_is_the_same_bytes(whole: bytes) -> None:
    assert packed() == whole


def test_what_goes_in_comes_out(whole: bytes, tmp_path: Path) -> None:
    found, parts = contents()
    place = tmp_path / "archive.zip"
    place.write_bytes(whole)
    with opened(place) as seen:
        assert seen.contents == found
        assert seen.signed.shop == SHOP
        assert seen.signed.public == KEY.public
        for part in parts:
            assert b"".join(seen.chunks(part.name)) == part.data
        assert seen.panels["panels/1.json"].panels[0].name == "hood"
        assert seen.histories["histories/1.json"].current == 1


def test_any_zip_program_opens_it(whole: bytes) -> None:
    """Python's zipfile finds no fault and takes the sums (APPNOTE.TXT 6.3.10)."""
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        assert archive.testzip() is None


def test_files_are_as_the_published_schema_says(whole: bytes) -> None:
    schema = json.loads(SCHEMA.read_bytes())
    Draft202012Validator.check_schema(schema)
    ways = {
        MANIFEST: "archive",
        SIGNATURE: "signature",
        "panels/1.json": "panels",
        "patterns/1/1.json": "pattern",
        "patterns/1/2.json": "pattern",
        "histories/1.json": "history",
    }
    for part in entries(whole):
        if part.name.endswith(".json"):
            assert isinstance(part.data, bytes)
            way = {**schema, "$ref": f"#/$defs/{ways[part.name]}"}
            Draft202012Validator(way).validate(json.loads(part.data))
    wrong = json.loads(entries(whole)[0].data)
    wrong["vehicle"]["maker"] = 3
    assert not Draft202012Validator({**schema, "$ref": "#/$defs/archive"}).is_valid(wrong)


def test_ed25519_is_that_of_the_rfc() -> None:
    """RFC 8032, 7.1, test 1 and test 2."""
    seed = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
    assert Key(seed).public.hex() == (
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    )
    assert Key(seed).sign(b"").hex() == (
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701c"
        "f9b46bd25bf5f0595bbe24655141438e7a100b"
    )


def test_derived_keys_follow_the_secret_alone() -> None:
    assert Key.derived("lamp").public == Key.derived("lamp").public
    assert Key.derived("lamp").public != Key.derived("wick").public


def test_fingerprints_are_read_as_they_are_typed() -> None:
    shown = fingerprint(KEY.public)
    assert read_fingerprint(shown.lower().replace("-", "  ")) == shown
    with pytest.raises(InputError, match="eight groups"):
        read_fingerprint(shown[:-1])


def _swap(values: dict[str, Any]) -> None:
    files = {entry["name"]: entry for entry in values["files"]}
    a, b = files["patterns/1/1.json"], files["panels/1.json"]
    a["sha256"], b["sha256"] = b["sha256"], a["sha256"]


LIES: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "swapped hashes": (_swap, "not the file that was signed|has more"),
    "another size": (lambda v: v["files"][0].update(size=3), "has more|not the file"),
    "a file too many listed": (
        lambda v: v["files"].append({"name": "scans/9.ply", "size": 1, "sha256": "0" * 64}),
        "says nothing of",
    ),
    "a path out of the folder": (
        lambda v: v["bodies"][0].update(scan="../scans/1.ply"),
        "names no file",
    ),
    "another form": (lambda v: v.update(form="layflat archive 2"), "newer Layflat"),
    "an unknown key": (lambda v: v.update(extra=1), "not a value that is known"),
    "a huge number": (lambda v: v["bodies"][0].update(number=10**17), "must lie between"),
    "a long text": (lambda v: v["vehicle"].update(maker="x" * 100_000), "characters"),
    "a wrong type": (lambda v: v["vehicle"].update(maker=["x" * 100_000]), "must be a text"),
    "signs that turn text round": (lambda v: v["vehicle"].update(maker="a\u202eb"), "printed"),
    "a scan without a unit": (lambda v: v["bodies"][0].update(unit=""), "unit"),
    "years the wrong way round": (lambda v: v["vehicle"].update(year_to=1990), "before the first"),
    "a cover on nothing": (lambda v: v["covers"][0].update(revision=7), "does not hold"),
    "a pattern under another name": (
        lambda v: v["patterns"][0].update(name="lamp"),
        "another name",
    ),
    "a history of something else": (
        lambda v: v["corrections"][0].update(number=0),
        "something else",
    ),
    "revisions out of order": (lambda v: v["patterns"][0]["revisions"].reverse(), "order"),
    "a day that is none": (lambda v: v["bodies"][0].update(made="2031-02-30"), "no day"),
}


@pytest.mark.parametrize("lie", LIES)
def test_a_signed_lie_is_refused(lie: str, whole: bytes, tmp_path: Path) -> None:
    change, said = LIES[lie]
    with pytest.raises(InputError, match=said) as caught:
        look(changed(whole, change), tmp_path)
    assert len(str(caught.value)) < 700


def _deep(whole: bytes) -> bytes:
    return resigned(b'{"form":' + b"[" * 100_000, entries(whole)[2:])


def _twice(whole: bytes) -> bytes:
    parts = entries(whole)
    file = io.BytesIO()
    with pytest.warns(UserWarning, match="Duplicate name"):
        write_zip(file, [*parts, parts[-1]])
    return file.getvalue()


def _compressed(whole: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in entries(whole):
            archive.writestr(part.name, part.data)
    return file.getvalue()


def _bomb(_whole: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(MANIFEST, bytes(30_000_000))
        archive.writestr(SIGNATURE, b"{}")
    return file.getvalue()


def _traversal(whole: bytes) -> bytes:
    return zipped([*entries(whole), Part("../../evil.json", b"{}")])


def _link(whole: bytes) -> bytes:
    at = whole.rindex(b"PK\x01\x02")
    return whole[: at + 38] + struct.pack("<I", 0o120777 << 16) + whole[at + 42 :]


def _foreign(whole: bytes) -> bytes:
    """Signed by one key, shown under another."""
    first, second, *rest = entries(whole)
    assert isinstance(second.data, bytes)
    values = json.loads(second.data)
    values["key"] = (
        Ed25519PrivateKey.from_private_bytes(bytes(32)).public_key().public_bytes_raw().hex()
    )
    return zipped([first, Part(SIGNATURE, json.dumps(values).encode()), *rest])


def _renamed(whole: bytes) -> bytes:
    first, second, *rest = entries(whole)
    assert isinstance(second.data, bytes)
    values = json.loads(second.data) | {"shop": "Somebody else"}
    return zipped([first, Part(SIGNATURE, json.dumps(values).encode()), *rest])


def _unsigned_change(whole: bytes) -> bytes:
    first, *rest = entries(whole)
    assert isinstance(first.data, bytes)
    return zipped([Part(first.name, first.data.replace(b"Vesper", b"Vespar")), *rest])


def _other_content(whole: bytes) -> bytes:
    *parts, last = entries(whole)
    assert isinstance(last.data, bytes)
    return zipped([*parts, Part(last.name, last.data[:-2] + b"x\n")])


def _torn_history(whole: bytes) -> bytes:
    """A history that is listed as it is, but follows a revision that it does not hold."""
    first, _, *rest = entries(whole)
    assert isinstance(first.data, bytes)
    values = json.loads(first.data)
    for i, part in enumerate(rest):
        if part.name == "histories/1.json":
            assert isinstance(part.data, bytes)
            history = json.loads(part.data)
            history["revisions"][0]["parent"] = 7
            data = json.dumps(history).encode()
            rest[i] = Part(part.name, data)
            entry = next(each for each in values["files"] if each["name"] == part.name)
            entry.update(size=len(data), sha256=hashlib.sha256(data).hexdigest())
    return resigned(json.dumps(values).encode(), rest)


def _many_claimed(whole: bytes) -> bytes:
    end = bytearray(whole)
    struct.pack_into("<HH", end, len(end) - 14, 60_000, 60_000)
    return bytes(end)


def _two_stories(whole: bytes) -> bytes:
    """The local header of the first entry names another method than the directory."""
    return whole[:8] + b"\x08\0" + whole[10:]


ATTACKS: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "nothing": (lambda _: b"", "no whole archive"),
    "a text": (lambda _: b"hello" * 100, "no whole archive"),
    "cut short": (lambda d: d[:-100], "no whole archive"),
    "bytes in front": (lambda d: b"x" + d, "belong to none"),
    "bytes behind": (lambda d: d + b"x", "no whole archive"),
    "deep JSON": (_deep, "deep"),
    "one name twice": (_twice, "twice"),
    "compressed": (_compressed, "compressed"),
    "a bomb": (_bomb, "compressed"),
    "a way out": (_traversal, "evil.json"),
    "a link": (_link, "link"),
    "a foreign key": (_foreign, "signature is false"),
    "another shop's name": (_renamed, "signature is false"),
    "a change after signing": (_unsigned_change, "changed after it was signed"),
    "an entry swapped": (_other_content, "not the file that was signed"),
    "a revision of nothing": (_torn_history, "rests on one that is not there"),
    "many entries claimed": (_many_claimed, "more files"),
    "two stories of one entry": (_two_stories, "two ways"),
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_an_attack_is_refused(attack: str, whole: bytes, tmp_path: Path) -> None:
    make, said = ATTACKS[attack]
    with pytest.raises(InputError, match=said):
        look(make(whole), tmp_path)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_no_changed_byte_is_taken(data: st.DataObject, whole: bytes, tmp_path: Path) -> None:
    """Each byte counts, but for the two that say with which version a ZIP program wrote."""
    at = data.draw(st.integers(0, len(whole) - 1))
    bit = data.draw(st.integers(1, 255))
    broken = whole[:at] + bytes([whole[at] ^ bit]) + whole[at + 1 :]
    try:
        look(broken, tmp_path)
    except LayflatError:
        return
    directory = whole.index(b"PK\x01\x02")
    assert at >= directory, f"byte {at} counts for nothing"


@settings(max_examples=40, deadline=None)
@given(
    st.binary(max_size=200)
    | st.text(alphabet='{}[]",:0123456789e-\\ ', max_size=200).map(str.encode)
)
def test_any_bytes_are_json_or_refused(data: bytes) -> None:
    try:
        value = read_json(data, where="it", most_bytes=1_000)
    except InputError:
        return
    assert value == json.loads(data)


@pytest.mark.parametrize(
    ("text", "is_read"),
    [
        (b'{"a": 1}', True),
        (b'{"a": 1, "a": 2}', False),
        (b"[NaN]", False),
        (b"[1e999]", False),
        (b"[" + b"9" * 400 + b"]", False),
        (b"[" * 24 + b"]" * 24, True),
        (b"[" * 25 + b"]" * 25, False),
        (b'["' + b"[" * 100 + b'"]', True),
        (b'["' + b'\\"[' * 100, False),
        (b"\xff", False),
    ],
)
def test_json_is_read_in_bounds(text: bytes, is_read: bool) -> None:
    if is_read:
        assert read_json(text, where="it", most_bytes=1_000) == json.loads(text)
    else:
        with pytest.raises(InputError):
            read_json(text, where="it", most_bytes=1_000)


@pytest.mark.parametrize(
    ("theirs", "ours", "stands", "to_add"),
    [
        ("ab", "", Standing.NEW, [0, 1]),
        ("ab", "ab", Standing.SAME, []),
        ("ab", "xb", Standing.SAME, []),
        ("abc", "ab", Standing.NEWER, [2]),
        ("ab", "abc", Standing.OLDER, []),
        ("abc", "abd", Standing.DIFFERS, [2]),
        ("a", "b", Standing.DIFFERS, [0]),
    ],
)
def test_what_is_here_and_what_is_not(
    theirs: str, ours: str, stands: Standing, to_add: list[int]
) -> None:
    assert standing(theirs, ours) is stands
    assert missing(theirs, ours) == to_add


def test_the_signature_covers_the_list_that_covers_the_files(whole: bytes) -> None:
    first, second, *rest = entries(whole)
    assert isinstance(first.data, bytes)
    signed = json.loads(second.data)
    assert signed["sha256"] == hashlib.sha256(first.data).hexdigest()
    listed = {entry["name"]: entry["sha256"] for entry in json.loads(first.data)["files"]}
    assert listed == {part.name: hashlib.sha256(part.data).hexdigest() for part in rest}
