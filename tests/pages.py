"""The documents as tests see them: blocks of code, tables that bear a mark, links.

A mark is a comment on the line before a block or a table, such as ``<!-- file: job.toml -->``.
"""

import datetime
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
GUIDE = ROOT / "docs" / "guide.md"
PAGES = (README, ROOT / "CHANGELOG.md", *sorted((ROOT / "docs").glob("*.md")))

_BLOCK = re.compile(r"(?:<!-- ([^\n]*) -->\n)?^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_TABLE = re.compile(r"<!-- ([^\n]*) -->\n((?:\|[^\n]*\n)+)")
_CODE = re.compile(r"`([^`]+)`")


@dataclass(frozen=True)
class Block:
    """A block of code: its language, its text, and the mark before it or ""."""

    language: str
    text: str
    mark: str


def blocks(page: Path) -> list[Block]:
    found = _BLOCK.finditer(page.read_text(encoding="utf-8"))
    return [Block(match[2], match[3], match[1] or "") for match in found]


def commands(page: Path) -> list[str]:
    """The lines of all console blocks, in order, without what stands behind a #."""
    text = "".join(block.text for block in blocks(page) if block.language == "console")
    lines = [line.split("  #")[0].strip() for line in text.splitlines()]
    return [line for line in lines if line]


def files(page: Path) -> dict[str, str]:
    """The blocks that are whole files, by name."""
    marked = [block for block in blocks(page) if block.mark.startswith("file: ")]
    return {block.mark.removeprefix("file: "): block.text for block in marked}


def tables(page: Path) -> dict[str, list[dict[str, str]]]:
    """The rows of each marked table, by column, by its mark."""
    found: dict[str, list[dict[str, str]]] = {}
    for match in _TABLE.finditer(page.read_text(encoding="utf-8")):
        names, _, *rows = [
            [cell.strip() for cell in line.strip()[1:-1].split("|")]
            for line in match[2].splitlines()
        ]
        found[match[1]] = [dict(zip(names, row, strict=True)) for row in rows]
    return found


def codes(text: str) -> list[str]:
    """What stands between backticks, outside blocks."""
    return _CODE.findall(_BLOCK.sub("", text))


def as_toml(document: dict[str, Any]) -> str:
    """*document* as TOML, every table inline."""
    return "".join(f"{key} = {_value(value)}\n" for key, value in document.items())


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return value.isoformat() if isinstance(value, datetime.date) else json.dumps(value)
