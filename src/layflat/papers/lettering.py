"""Text from people, made fit for the typefaces on a sheet.

Whatever somebody typed comes out as text: no sign of it is ever read as markup, invisible
signs that could turn or hide the rest are left out, a sign that no typeface of ours holds is
written out in brackets, and a word without end may break.
"""

import re
import unicodedata
from functools import cache

from layflat.papers.engine import has_glyph

_LONG_WORD = re.compile(r"\S{25,}")
_BREAK_EVERY = 6
_SIDES = frozenset({"left", "right", "upper", "lower", "front", "rear"})
_ZERO_WIDTH_SPACE = "\u200b"


def written(text: str) -> str:
    """*text* as it goes on a sheet: one paragraph of signs that the typefaces hold."""
    signs = "".join(_written_sign(sign) for sign in unicodedata.normalize("NFC", text))
    return _LONG_WORD.sub(_breakable, " ".join(signs.split()))


def one_line(text: str, *, most: int) -> str:
    """*text* for a narrow place: at most *most* signs, the last an ellipsis if it was cut."""
    plain = written(text).replace(_ZERO_WIDTH_SPACE, "")
    if len(plain) > most:
        plain = plain[: most - 1].rstrip() + "…"
    return _LONG_WORD.sub(_breakable, plain)


def panel_title(name: str) -> str:
    """A panel's name as people read it: "fender-left" becomes "Fender, left".

    A number behind it is that of one of its pieces: "fender-left 2" becomes "Fender, left 2".
    Files keep the name itself. A name that already holds a space or a capital is left alone.
    """
    if part := re.fullmatch(r"(\S+) (\d+)", name):
        return f"{panel_title(part[1])} {part[2]}"
    if any(sign.isspace() or sign.isupper() for sign in name):
        return name
    words = [word for word in re.split(r"[-_]+", name) if word]
    if not words:
        return name
    side = f", {words.pop()}" if len(words) > 1 and words[-1] in _SIDES else ""
    title = " ".join(words) + side
    return title[:1].upper() + title[1:]


def panel_in_sentence(name: str) -> str:
    """A panel's name within a sentence: "fender-left" becomes "fender, left".

    A name that already holds a space or a capital is left alone.
    """
    title = panel_title(name)
    return title if title == name else title[:1].lower() + title[1:]


@cache
def _written_sign(sign: str) -> str:
    category = unicodedata.category(sign)
    if category in {"Zl", "Zp", "Zs"} or sign in "\t\n\r\v\f":
        return " "
    if category in {"Cc", "Cf"}:
        return ""
    if category not in {"Cs", "Co", "Cn"} and (sign.isascii() or has_glyph(sign)):
        return sign
    name = unicodedata.name(sign, "")
    if not name or "-" in name.split()[-1]:
        return f"[U+{ord(sign):04X}]"
    return f"[{name.lower()}]"


def _breakable(match: re.Match[str]) -> str:
    word = match[0]
    parts = (word[i : i + _BREAK_EVERY] for i in range(0, len(word), _BREAK_EVERY))
    return _ZERO_WIDTH_SPACE.join(parts)
