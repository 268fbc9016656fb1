"""What a later version says otherwise than an earlier one, in sentences."""

import datetime
from collections.abc import Iterator
from typing import Any, Final

from layflat.papers import grouped
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day

_LISTS: Final = ("edges", "free", "film_over", "expect")
_HEAD: Final = (
    ("customer", "The customer"),
    ("vehicle", "The vehicle"),
    ("valid_until", "The offer is valid until"),
    ("currency", "The currency"),
    ("tax_per_cent", "Tax in per cent"),
    ("message", "The message"),
)


def difference(old: dict[str, Any], new: dict[str, Any], *, shop: Shop | None = None) -> list[str]:
    """What *new* says otherwise than *old*, a sentence each; both as `content.build` made them.

    Alternatives are the same when they were made from the same cover, panels when they have the
    same name, lines when they have the same text. Days are written as *shop* writes them, and by
    ISO 8601 without one.
    """
    whose = shop or Shop()
    return list(_sentences(_with_day(old, whose), _with_day(new, whose))) or [
        "Nothing but the number and the day."
    ]


def _with_day(content: dict[str, Any], shop: Shop) -> dict[str, Any]:
    day = datetime.date.fromisoformat(content["valid_until"])
    return {**content, "valid_until": shown_day(day, shop)}


def _sentences(old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    before = {item["cover"]: item for item in old["alternatives"]}
    after = {item["cover"]: item for item in new["alternatives"]}
    currency = new["currency"]
    for key, item in after.items():
        if key not in before:
            yield f"New: “{item['title']}”, {currency} {grouped(item['gross'])}."
        else:
            yield from _alternative(before[key], item, currency, old["currency"])
    for key, item in before.items():
        if key not in after:
            yield f"No longer offered: “{item['title']}”."
    for name, words in _HEAD:
        yield from _changed(words, old[name], new[name])
    yield from _changed("The workshop", old["shop"]["name"], new["shop"]["name"])
    for item in new["cautions"]:
        if item not in old["cautions"]:
            yield f"New to know: {item}"
    yield from _acknowledged(old, new)


def _acknowledged(old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    before = {item["fault"] for item in old["acknowledged"]}
    for item in new["acknowledged"]:
        if item["fault"] not in before:
            yield f"Acknowledged since: fault {item['fault']}, {item['text']}."


def _alternative(
    old: dict[str, Any], new: dict[str, Any], currency: str, old_currency: str
) -> Iterator[str]:
    title = f"“{new['title']}”"
    if old["title"] != new["title"]:
        yield f"{title} was called “{old['title']}”."
    now = f"{currency} {grouped(new['gross'])}"
    was = f"{old_currency} {grouped(old['gross'])}"
    if now != was:
        yield f"{title}: to pay {now} instead of {was}."
    yield from _panels(title, old["panels"], new["panels"])
    yield from _lines(title, old["lines"], new["lines"])
    if old["days"] != new["days"]:
        yield f"{title}: the vehicle stays about {new['days']} working days, not {old['days']}."


def _panels(title: str, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> Iterator[str]:
    """What is said otherwise of panels; of which the same is said, they stand together."""
    before = {panel["panel"]: panel for panel in old}
    after = {panel["panel"]: panel for panel in new}
    said: dict[str, list[str]] = {}
    for name, panel in after.items():
        changes = _panel(before[name], panel) if name in before else ["covered too"]
        for change in changes:
            said.setdefault(change, []).append(panel["title"])
    for name, panel in before.items():
        if name not in after:
            said.setdefault("no longer covered", []).append(panel["title"])
    for change, titles in said.items():
        yield f"{title}, {' · '.join(titles)}: {change}."


def _panel(old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    if old["extent"] != new["extent"]:
        yield f"{_quoted(new['extent'])} instead of {_quoted(old['extent'])}"
    for name in _LISTS:
        for sentence in new[name]:
            if sentence not in old[name]:
                yield f"now {_quoted(sentence)}"
        for sentence in old[name]:
            if sentence not in new[name]:
                yield f"no longer {_quoted(sentence)}"


def _lines(title: str, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> Iterator[str]:
    before, after = _by_text(old), _by_text(new)
    for key, line in after.items():
        text, amount = line["text"], line["amount"]
        if key not in before:
            yield f"{title}, new line: {text}, {grouped(amount)}."
        elif (was := before[key])["amount"] != amount or was["quantity"] != line["quantity"]:
            yield f"{title}, {text}: {_line(line)} instead of {_line(was)}."
    for key, line in before.items():
        if key not in after:
            yield f"{title}, line left out: {line['text']}, {grouped(line['amount'])}."


def _by_text(lines: list[dict[str, Any]]) -> dict[tuple[str, int], dict[str, Any]]:
    """Lines by their text; a second one of the same text counts as another line."""
    found: dict[tuple[str, int], dict[str, Any]] = {}
    for line in lines:
        same = sum(text == line["text"] for text, _ in found)
        found[line["text"], same] = line
    return found


def _line(line: dict[str, Any]) -> str:
    amount = grouped(line["amount"])
    return f"{line['quantity']}, {amount}" if line["quantity"] else amount


def _changed(words: str, was: str, now: str) -> Iterator[str]:
    if was != now:
        yield f"{words}: {_quoted(now)} instead of {_quoted(was)}."


def _quoted(words: str) -> str:
    return f"“{words.rstrip('.')}”" if words else "nothing"
