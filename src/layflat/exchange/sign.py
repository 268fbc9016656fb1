"""The signature on an archive: whose it is, and that nothing in it was changed.

Ed25519 (RFC 8032) signs a line of text that names the form and the SHA-256 of `archive.json`,
which in turn lists every other file with its SHA-256. A signature says which key made it; whose
key that is, people tell each other by its fingerprint.
"""

import base64
import hashlib
import os
import re
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from layflat.base import InputError, LayflatError, OutputError, Settings, read_bytes
from layflat.exchange.plain import json_bytes, read_json
from layflat.exchange.records import MANIFEST, SIGNATURE

FORM: Final = "layflat signature 1"
_MOST_BYTES: Final = 4_000
_KEY_BYTES: Final = 32
_SIGNED_BYTES: Final = 64
_GROUP: Final = 4
_GROUPS: Final = 8
_PURPOSE: Final = b"layflat exchange, Ed25519, 1"


class Key:
    """A key that signs; whoever holds it can sign in the shop's name."""

    def __init__(self, seed: bytes) -> None:
        self._key = Ed25519PrivateKey.from_private_bytes(seed)

    @classmethod
    def derived(cls, secret: str) -> "Key":
        """The key that goes with another secret, by HKDF-SHA256 (RFC 5869); the same each time."""
        hkdf = HKDF(algorithm=SHA256(), length=_KEY_BYTES, salt=None, info=_PURPOSE)
        return cls(hkdf.derive(secret.encode()))

    @property
    def public(self) -> bytes:
        """The 32 bytes that others check by."""
        return self._key.public_key().public_bytes_raw()

    def sign(self, message: bytes) -> bytes:
        """64 bytes; the same for the same message."""
        return self._key.sign(message)


@dataclass(frozen=True)
class Signed:
    """Who signed an archive.

    Attributes:
        public: 32 bytes of the key.
        shop: the name that the signer gave; the key proves no name.
    """

    public: bytes
    shop: str

    @property
    def fingerprint(self) -> str:
        """The key's fingerprint."""
        return fingerprint(self.public)


def fingerprint(public: bytes) -> str:
    """What two people read to each other to see that they mean one key.

    The first 160 bits of the key's SHA-256 in base 32 (RFC 4648), in eight groups of four.
    """
    letters = base64.b32encode(hashlib.sha256(public).digest()[:20]).decode()
    return "-".join(letters[i : i + _GROUP] for i in range(0, len(letters), _GROUP))


def read_fingerprint(text: str) -> str:
    """A fingerprint as somebody typed it, in the form of `fingerprint`.

    Raises:
        InputError: it is none.
    """
    letters = re.sub(r"[\s-]", "", text).upper()
    if not re.fullmatch(rf"[A-Z2-7]{{{_GROUP * _GROUPS}}}", letters, re.ASCII):
        raise InputError(
            "A fingerprint has eight groups of four letters or digits from 2 to 7, such as "
            "“MZXW-6YTB-…”."
        )
    return "-".join(letters[i : i + _GROUP] for i in range(0, len(letters), _GROUP))


def _message(manifest: bytes, shop: str) -> bytes:
    """What is signed: the shop's name is part of it, so that nobody can put another one there."""
    return f"{FORM}\n{hashlib.sha256(manifest).hexdigest()}\n{shop}\n".encode()


def signature_json(manifest: bytes, *, key: Key, shop: str) -> bytes:
    """`signature.json` for an archive whose `archive.json` is *manifest*."""
    return json_bytes(
        {
            "form": FORM,
            "algorithm": "Ed25519",
            "shop": shop,
            "key": key.public.hex(),
            "sha256": hashlib.sha256(manifest).hexdigest(),
            "signature": key.sign(_message(manifest, shop)).hex(),
        }
    )


def require_signed(manifest: bytes, data: bytes) -> Signed:
    """Who signed *manifest*, as *data*, a `signature.json`, says and proves.

    Raises:
        InputError: it is no such file, or does not belong to this manifest.
    """
    found = read_json(data, where=SIGNATURE, most_bytes=_MOST_BYTES)
    if not isinstance(found, dict):
        raise InputError(f"{SIGNATURE} is damaged: it is no table.")
    table = Settings(found, where=SIGNATURE)
    try:
        table.choice("form", (FORM,))
        table.choice("algorithm", ("Ed25519",))
        shop = table.text("shop", most=120)
        public = _hex(table, "key", _KEY_BYTES)
        stated = _hex(table, "sha256", _KEY_BYTES)
        signature = _hex(table, "signature", _SIGNED_BYTES)
        table.finish()
    except LayflatError as error:
        raise InputError(str(error)[:400]) from error
    if not shop.isprintable():
        raise InputError(f"{SIGNATURE}: the shop's name holds signs that cannot be printed.")
    if stated != hashlib.sha256(manifest).digest():
        raise InputError(
            f"The archive was changed after it was signed: {MANIFEST} is not what the signature "
            "is of. Ask the shop for it anew."
        )
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, _message(manifest, shop))
    except (InvalidSignature, ValueError) as error:
        raise InputError(
            "The archive's signature is false: another key made it, or it was changed. Ask the "
            "shop for it anew."
        ) from error
    return Signed(public, shop)


def _hex(table: Settings, key: str, size: int) -> bytes:
    text = table.text(key, most=2 * size)
    if not re.fullmatch(rf"[0-9a-f]{{{2 * size}}}", text, re.ASCII):
        raise InputError(f"{table.where}: “{key}” is not {size} bytes in hexadecimal.")
    return bytes.fromhex(text)


def key_at(path: Path) -> tuple[Key, bool]:
    """The key in the file at *path*, and whether it was made just now as there was none.

    Raises:
        InputError: the file holds no key.
        OutputError: it cannot be written.
    """
    try:
        # Created closed to others; a key that others could read would sign for them.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        is_small = path.is_file() and path.stat().st_size <= _MOST_BYTES
        data = read_bytes(path, max_bytes=_MOST_BYTES) if is_small else b""
        text = data.decode("ascii", "replace").strip()
        if not re.fullmatch(rf"[0-9a-f]{{{2 * _KEY_BYTES}}}", text, re.ASCII):
            raise InputError(
                f"{path} holds no key of Layflat's; name another file, and a key is made there."
            ) from None
        return Key(bytes.fromhex(text)), False
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror}.") from error
    seed = secrets.token_bytes(_KEY_BYTES)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(seed.hex() + "\n")
    return Key(seed), True
