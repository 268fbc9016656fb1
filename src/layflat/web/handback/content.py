"""What a passport says, as one value that is frozen: from rows, without looking anything up.

The content is JSON of texts and whole numbers only (see `layflat.web.offer.canonical`); moments are
ISO 8601 in UTC to the second, days by the shop's clock, hashes SHA-256 in hexadecimal. No prices.
It reads::

    {"form": 1, "job": "2031-0042", "version": 1, "dated": "2031-05-24", "because": "…",
     "shop": {"name", "contact"},
     "vehicle": {"words", "plate", "vin", "body", "revision": 1},
     "cover": {"title", "outcome": 12, "offer": 2, "offer_sha256", "accepted_by", "accepted_at",
               "panels": [{"panel", "title", "extent", "edges", "free", "film_over", "expect"}]},
     "pieces": [{"number": 1, "title", "film", "lot", "roll", "pattern", "attempt": 1,
                 "kept": {"revision": 2, "from", "exactness": [[word, value]], "said": […],
                 "stretch", what fit notes say of it}, of a piece from a kept pattern only,
                 "correction": 3, the revision by fit notes that it was cut by, if it was by one,
                 "work": [{"way", "by": ["Ines"], "began", "ended", "picture"}],
                 "checked": {"by", "at", "round": 1, "own_work_because"}}],
     "lost": [{"number", "title", "film", "lot", "roll", "attempt", "work", "because", "by",
               "at"}],
     "rounds": [{"number", "by", "began", "ended", "own_work_because"}],
     "flags": [{"number", "piece", "title", "kind", "size", "note", "remedy", "found_by",
                "found_at", "mended_by", "mended_at", "mended_how", "ended_by", "ended_at",
                "ended_how", "picture"}],
     "steps": [{"key", "title", "state", "by", "at", "because"}],
     "acknowledged": [{"fault": 1, "text", "by", "on"}],
     "pictures": [{"caption", "sha256", "thumb"}],
     "handed": {"to", "at", "by", "signed", "because", "signature"},
     "visits": [{"due", "at", "by", "found"}],
     "care": [["title", "words"]], "cautions": […], "proof": "…"}
"""

import datetime
from typing import Any, Final

from layflat.papers import CARE, PASSPORT, panel_title
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Step
from layflat.web.handback.facts import Facts
from layflat.web.handback.models import FollowUp
from layflat.web.inspection.models import Check, Flag, Round
from layflat.web.jobs.kinds import kind_named
from layflat.web.laying.models import Laying
from layflat.web.laying.words import by_alphabet
from layflat.web.offer.content import vehicle_words
from layflat.web.patterns.shown import exactness_rows
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import shop_time, shown_fine_length

FORM: Final = 1
"""Of the content's JSON; another form gets another number."""
PROOF: Final = (
    "The hash is a fingerprint of this record. Compared with the one on paper it shows that not a "
    "letter, and no picture that is named here, was changed since this version was made. It does "
    "not show who wrote the record, nor that what was written is true."
)
_Work = dict[int, list[dict[str, Any]]]
HANDED: Final = "Made when the vehicle was handed back."


def build(facts: Facts, *, version: int, because: str, dated: datetime.date) -> dict[str, Any]:
    """The content of one version.

    Args:
        facts: all that is known.
        version: its number.
        because: why it is made, a sentence.
        dated: the day, by the shop's clock.
    """
    job, shop = facts.job, facts.shop
    work = _work_by_cut(facts)
    return {
        "form": FORM,
        "job": job.number,
        "version": version,
        "dated": dated.isoformat(),
        "because": because,
        "shop": {"name": shop.name, "contact": shop.contact},
        "vehicle": _vehicle(facts),
        "cover": _cover(facts),
        "pieces": _pieces(facts, work),
        "lost": [_lost(cut, work) for cut in facts.cuts if cut.state == Cut.State.LOST],
        "rounds": [_round(found) for found in facts.rounds],
        "flags": [_flag(flag, shop) for flag in facts.flags],
        "steps": [_step(step) for step in facts.steps],
        "acknowledged": [
            {
                "fault": fault.number,
                "text": f"{kind_named(fault.kind).word}{', ' + fault.where if fault.where else ''}",
                "by": fault.acknowledged_by,
                "on": shop_time(fault.acknowledged_at, shop).date().isoformat(),
            }
            for fault in facts.faults
            if fault.is_warning and not fault.is_withdrawn and fault.acknowledged_at is not None
        ],
        "pictures": [
            {
                "caption": picture.caption,
                "sha256": picture.photo.sha256,
                "thumb": picture.thumb.sha256,
            }
            for picture in facts.pictures
        ],
        "handed": {
            "to": facts.given.name,
            "at": moment(facts.given.at),
            "by": facts.given.by,
            "signed": "on the screen" if facts.given.signature else "on paper",
            "because": facts.given.on_paper_because,
            "signature": facts.given.signature,
        },
        "visits": [_visit(visit) for visit in facts.visits],
        "care": [list(item) for item in CARE],
        "cautions": list(PASSPORT),
        "proof": PROOF,
    }


def moment(at: datetime.datetime | None) -> str:
    """A moment in UTC to the second; "" for none."""
    if at is None:
        return ""
    return at.astimezone(datetime.UTC).replace(microsecond=0, tzinfo=None).isoformat() + "Z"


def _shown(person: Person | None) -> str:
    return person.shown if person else ""


def _vehicle(facts: Facts) -> dict[str, Any]:
    vehicle = facts.job.vehicle
    return {
        "words": vehicle_words(facts.job),
        "plate": vehicle.plate,
        "vin": vehicle.vin,
        "body": str(vehicle.body.body) if vehicle.body else "",
        "revision": vehicle.body.number if vehicle.body else 0,
    }


def _cover(facts: Facts) -> dict[str, Any]:
    acceptance, chosen = facts.acceptance, facts.chosen
    return {
        "title": chosen["title"],
        "outcome": chosen["outcome"],
        "offer": acceptance.offer.version,
        "offer_sha256": acceptance.sha256,
        "accepted_by": acceptance.name,
        "accepted_at": moment(acceptance.at),
        "panels": chosen["panels"],
    }


def _work_by_cut(facts: Facts) -> _Work:
    """What was done with each piece of film, in order, by the film's key."""
    found: _Work = {}
    for laying in facts.layings:
        found.setdefault(laying.cut_id, []).append(_done(laying))
    return found


def _pieces(facts: Facts, work: _Work) -> list[dict[str, Any]]:
    return [
        {
            "number": cut.piece.number,
            "title": panel_title(cut.piece.title),
            **_film(cut),
            "pattern": cut.piece.pattern.sha256 if cut.piece.pattern else "",
            **_kept(cut, facts.stretch.get(cut.pk, "")),
            **_correction(cut),
            "attempt": cut.attempt,
            "work": work.get(cut.pk, []),
            "checked": _checked(facts.checks.get(cut.pk)),
        }
        for cut in facts.cuts
        if cut.state == Cut.State.LAID
    ]


def _kept(cut: Cut, stretch: str) -> dict[str, Any]:
    """Of a piece from a kept pattern: which revision, what it said of itself, what notes say."""
    kept = cut.piece.details.get("kept")
    if kept is None:
        return {}
    return {
        "kept": {
            "revision": kept["revision"],
            "from": kept["from"],
            "exactness": [list(row) for row in exactness_rows(kept["exactness"])],
            "said": [str(sentence) for sentence in kept["said"]],
            **({"stretch": stretch} if stretch else {}),
        }
    }


def _correction(cut: Cut) -> dict[str, int]:
    """Of a piece that was cut by a revision from fit notes: which."""
    found = (cut.piece.details.get("correction") or {}).get("number", 0)
    return {"correction": found} if found else {}


def _film(cut: Cut) -> dict[str, str]:
    roll = cut.section.layout.roll
    return {"film": roll.film, "lot": roll.lot, "roll": str(roll)}


def _done(laying: Laying) -> dict[str, Any]:
    return {
        "way": Laying.Way(laying.way).label,
        "by": by_alphabet(person.shown for person in laying.people.all()),
        "began": moment(laying.began_at),
        "ended": moment(laying.ended_at),
        "picture": laying.photo.sha256 if laying.photo else "",
    }


def _checked(check: Check | None) -> dict[str, Any]:
    if check is None:
        return {"by": "", "at": "", "round": 0, "own_work_because": ""}
    return {
        "by": check.round.inspector.shown,
        "at": moment(check.at),
        "round": check.round.number,
        "own_work_because": check.round.own_work_because,
    }


def _lost(cut: Cut, work: _Work) -> dict[str, Any]:
    return {
        "number": cut.piece.number,
        "title": panel_title(cut.piece.title),
        **_film(cut),
        "attempt": cut.attempt,
        "work": work.get(cut.pk, []),
        "because": cut.lost_because,
        "by": _shown(cut.lost_by),
        "at": moment(cut.lost_at),
    }


def _round(found: Round) -> dict[str, Any]:
    return {
        "number": found.number,
        "by": found.inspector.shown,
        "began": moment(found.began_at),
        "ended": moment(found.ended_at),
        "own_work_because": found.own_work_because,
    }


def _flag(flag: Flag, shop: Shop) -> dict[str, Any]:
    return {
        "number": flag.number,
        "piece": flag.cut.piece.number,
        "title": panel_title(flag.cut.piece.title),
        "kind": flag.kind,
        "size": "" if flag.size_mm is None else shown_fine_length(flag.size_mm, shop),
        "note": flag.note,
        "remedy": Flag.Remedy(flag.remedy).label,
        "found_by": _shown(flag.found_by),
        "found_at": moment(flag.found_at),
        "mended_by": _shown(flag.mended_by),
        "mended_at": moment(flag.mended_at),
        "mended_how": flag.mended_how,
        "ended_by": _shown(flag.ended_by),
        "ended_at": moment(flag.ended_at),
        "ended_how": flag.ended_how,
        "picture": flag.photo.sha256 if flag.photo else "",
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "key": step.key,
        "title": step.title,
        "state": Step.State(step.state).label,
        "by": _shown(step.ended_by),
        "at": moment(step.ended_at),
        "because": step.left_out_because,
    }


def _visit(visit: FollowUp) -> dict[str, Any]:
    return {
        "due": visit.due_on.isoformat(),
        "at": moment(visit.came_at),
        "by": _shown(visit.who),
        "found": visit.found,
    }
