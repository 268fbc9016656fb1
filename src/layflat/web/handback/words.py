"""A passport's content as people read it, for pages and paper alike."""

import datetime
from collections.abc import Iterable
from typing import Any

from layflat.papers import PassportFlag, PassportPiece
from layflat.web.offer.canonical import in_short
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day, shown_moment

Content = dict[str, Any]


def said_moment(text: str, shop: Shop) -> str:
    """A moment of a content by the shop's clock; "" for none."""
    if not text:
        return ""
    return shown_moment(datetime.datetime.fromisoformat(text), shop)


def said_day(text: str, shop: Shop) -> str:
    """A day of a content as the shop writes it."""
    return shown_day(datetime.date.fromisoformat(text), shop)


def facts(content: Content, shop: Shop) -> tuple[tuple[str, str], ...]:
    """What stands at the head: names with what is known."""
    vehicle, cover, handed = content["vehicle"], content["cover"], content["handed"]
    workshop = ", ".join(part for part in content["shop"].values() if part)
    signed = f"signed {handed['signed']}"
    if handed["because"]:
        signed += f", because {handed['because']}"
    offer = (
        f"version {cover['offer']}, accepted by {cover['accepted_by']} on "
        f"{said_moment(cover['accepted_at'], shop)}, hash {in_short(cover['offer_sha256'])}"
    )
    given = (
        f"{said_moment(handed['at'], shop)} to {handed['to']} by {handed['by']}, {signed}; care "
        "was explained"
    )
    found = [
        ("Vehicle", vehicle["words"]),
        ("VIN", vehicle["vin"]),
        ("Workshop", workshop),
        ("Cover", cover["title"]),
        ("Offer", offer),
        ("Inspected", inspected(content, shop)),
        ("Handed back", given),
    ]
    return tuple((name, words) for name, words in found if words)


def inspected(content: Content, shop: Shop) -> str:
    """Who inspected, when, and plainly whether it was the own work."""
    said = []
    for item in content["rounds"]:
        own = item["own_work_because"]
        whose = f", who had laid film here: {own}" if own else ", who laid none of it"
        ended = said_moment(item["ended"] or item["began"], shop)
        said.append(f"{ended} by {item['by']}{whose}")
    return "; ".join(said)


def pieces(content: Content, shop: Shop) -> tuple[PassportPiece, ...]:
    """Every piece of film, in words.

    Film that was spoiled before it touched the car is no reason to call a piece made anew.
    """
    made_anew = {item["number"] for item in content["lost"] if item["work"]}
    return tuple(
        PassportPiece(
            number=str(item["number"]),
            title=f"{item['title']} (made anew)" if item["number"] in made_anew else item["title"],
            film=f"{item['film']}, lot {item['lot']}, roll {item['roll']}{_kept(item)}"
            f"{_correction(item)}",
            pattern=in_short(item["pattern"]) if item["pattern"] else "",
            laid=tuple(_work(work, shop) for work in item["work"]),
            checked=_checked(item["checked"], shop),
        )
        for item in content["pieces"]
    )


def _kept(item: dict[str, Any]) -> str:
    """Of a piece from a kept pattern: which revision, whence, how exact; else nothing."""
    kept = item.get("kept")
    if kept is None:
        return ""
    exact = "".join(f", {word.lower()} {value}" for word, value in kept["exactness"])
    return (
        f"; made from kept pattern revision {kept['revision']}, {kept['from']}{exact}; its stretch "
        f"was not known{_stretch(kept)}"
    )


def _stretch(kept: dict[str, Any]) -> str:
    """What fit notes say of a kept pattern's stretch; nothing where there are none."""
    said = str(kept.get("stretch", "")).removesuffix(".")
    return f". {said}" if said else ""


def _correction(item: dict[str, Any]) -> str:
    """By which revision from fit notes a piece was cut; nothing where it was cut as computed."""
    number = item.get("correction")
    return f"; cut by revision {number} from fit notes of earlier cars" if number else ""


def _work(work: dict[str, Any], shop: Shop) -> str:
    who = ", ".join(work["by"])
    way = "" if work["way"] == "laid" else f"{work['way']} by "
    return f"{way}{who}, {said_moment(work['ended'], shop)}"


def _checked(check: dict[str, Any], shop: Shop) -> tuple[str, ...]:
    if not check["by"]:
        return ("not checked",)
    found = [f"{check['by']}, {said_moment(check['at'], shop)}"]
    if check["own_work_because"]:
        found.append(f"own work: {check['own_work_because']}")
    return tuple(found)


def history(content: Content, shop: Shop) -> tuple[str, ...]:
    """Pieces of film that did not stay, a sentence each."""
    return tuple(
        f"{item['number']} {item['title']}, film from lot {item['lot']}, roll {item['roll']}: "
        f"{'; '.join([*(_work(work, shop) for work in item['work']), item['because']])} "
        f"({_by(item['by'], item['at'], shop)})."
        for item in content["lost"]
    )


def _by(who: str, at: str, shop: Shop) -> str:
    return ", ".join(part for part in (who, said_moment(at, shop)) if part)


def flags(content: Content, shop: Shop) -> tuple[PassportFlag, ...]:
    """Every flag with how it ended, in words."""
    return tuple(
        PassportFlag(
            number=str(item["number"]),
            what=_what(item),
            found=f"{_by(item['found_by'], item['found_at'], shop)}: {item['remedy']}",
            mended=_how(item, "mended", shop),
            ended=_how(item, "ended", shop),
        )
        for item in content["flags"]
    )


def _what(item: dict[str, Any]) -> str:
    size = f", {item['size']}" if item["size"] else ""
    note = f"; {item['note']}" if item["note"] else ""
    return f"{item['title']} (piece {item['piece']}): {item['kind']}{size}{note}"


def _how(item: dict[str, Any], name: str, shop: Shop) -> str:
    if not item[f"{name}_at"]:
        return ""
    by = _by(item[f"{name}_by"], item[f"{name}_at"], shop)
    how = item[f"{name}_how"]
    return f"{by}: {how}" if how else by


def steps(content: Content, shop: Shop) -> tuple[tuple[str, str], ...]:
    """The steps of the work with how they ended."""
    found = []
    for item in content["steps"]:
        by = f" by {item['by']}" if item["by"] else ""
        at = f", {said_moment(item['at'], shop)}" if item["at"] else ""
        because = f": {item['because']}" if item["because"] else ""
        found.append((item["title"], f"{item['state']}{by}{at}{because}"))
    return tuple(found)


def acknowledged(content: Content, shop: Shop) -> tuple[str, ...]:
    """What was known before work began, a sentence each."""
    return tuple(
        f"Fault {item['fault']}, {item['text']}: acknowledged by {item['by']}, "
        f"{said_day(item['on'], shop)}."
        for item in content["acknowledged"]
    )


def visits(content: Content, shop: Shop) -> tuple[str, ...]:
    """Follow-up visits, a sentence each."""
    return tuple(
        f"{_by(item['by'], item['at'], shop)}: {item['found']}" for item in content["visits"]
    )


def difference(old: Content, new: Content, shop: Shop) -> list[str]:
    """What a later version says otherwise than an earlier one, a sentence each."""
    said: list[str] = []
    for name, word in (("words", "The vehicle"), ("plate", "The plate"), ("vin", "The VIN")):
        before, after = old["vehicle"][name], new["vehicle"][name]
        if before != after:
            said.append(f"{word}: “{after or 'nothing'}” instead of “{before or 'nothing'}”.")
    for word, read in (
        ("Film on the vehicle", _piece_lines),
        ("Made anew", history),
        ("Flags", _flag_lines),
        ("Inspected", lambda content, shop: (inspected(content, shop),)),
        ("Steps", lambda content, shop: (f"{a}: {b}" for a, b in steps(content, shop))),
        ("Known before work began", acknowledged),
        ("Seen again", visits),
    ):
        said += _changed(word, read(old, shop), read(new, shop))
    before, after = (
        {item["sha256"]: item["caption"] for item in content["pictures"]} for content in (old, new)
    )
    added, gone = len(after.keys() - before.keys()), len(before.keys() - after.keys())
    if added:
        said.append(f"{added} picture{'s' if added > 1 else ''} more.")
    if gone:
        said.append(f"{gone} picture{'s' if gone > 1 else ''} no longer shown.")
    if any(before[key] != after[key] for key in before.keys() & after.keys()):
        said.append("Pictures have other captions.")
    return said


def _piece_lines(content: Content, shop: Shop) -> Iterable[str]:
    for item in pieces(content, shop):
        yield (
            f"{item.number} {item.title}, {item.film}; {'; '.join(item.laid)}; checked by "
            f"{'; '.join(item.checked)}"
        )


def _flag_lines(content: Content, shop: Shop) -> Iterable[str]:
    for item in flags(content, shop):
        ended = f"; ended {item.ended}" if item.ended else ""
        yield f"{item.number}. {item.what}, found {item.found}{ended}"


def _changed(word: str, before: Iterable[str], after: Iterable[str]) -> list[str]:
    old, new = list(before), list(after)
    return [f"{word}: {line.rstrip('.')}." for line in new if line and line not in old]
