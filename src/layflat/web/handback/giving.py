"""Giving the car back, once; giving it back again after something was mended; corrections."""

import datetime
from dataclasses import dataclass
from typing import Final

from layflat.base import InputError
from layflat.web.files.store import keep
from layflat.web.gates.doing import finish_kind
from layflat.web.gates.models import Kind
from layflat.web.handback.facts import Given
from layflat.web.handback.follow_up import plan
from layflat.web.handback.missing import require_nothing_missing
from layflat.web.handback.models import HandBack, Passport
from layflat.web.handback.passports import Draft, given_of, hand_back_of, keep_version
from layflat.web.handback.signature import read_strokes, signature_png
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.stages import move
from layflat.web.links.models import Purpose
from layflat.web.links.private import make
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import shown_moment

GIVEN: Final = "handback.given"
AGAIN: Final = "handback.given-again"
LINK_DAYS: Final = 3650
MENDED: Final = "Made when the vehicle was given back again, after something was mended."
_LONGEST_NAME: Final = 80
_LONGEST_REASON: Final = 200


@dataclass(frozen=True, kw_only=True)
class Taken:
    """What the counter and the customer entered.

    Attributes:
        name: of whoever takes the car.
        signature: PNG of the signature on the screen, or b"" when it is on paper.
        on_paper_because: why it is on paper, or "".
        due_on: the day of the follow-up visit.
    """

    name: str
    signature: bytes
    on_paper_because: str
    due_on: datetime.date


def read_taken(
    *, name: str, signed: str, strokes: str, because: str, care: bool, due_on: datetime.date | None
) -> Taken:
    """What was entered, once it is complete.

    Args:
        name: as typed.
        signed: "screen" or "paper".
        strokes: of the signature, see `signature`.
        because: why it is signed on paper.
        care: whether somebody ticked that care was explained.
        due_on: the day of the follow-up visit.

    Raises:
        InputError: something is missing; all of it, in a sentence each.
    """
    name, because = " ".join(name.split()), " ".join(because.split())
    lacks = []
    if not care:
        lacks.append("Explain the care of the film, hand the care sheet over, and tick it.")
    if not name:
        lacks.append("Type the name of whoever takes the car.")
    if due_on is None:
        lacks.append("Say on which day the car is seen again.")
    png = b""
    if signed == "screen":
        try:
            png = signature_png(read_strokes(strokes))
        except InputError as error:
            lacks.append(str(error))
    elif signed == "paper":
        if not because:
            lacks.append("Say why it is signed on paper.")
    else:
        lacks.append("Choose whether it is signed on the screen or on paper.")
    if len(name) > _LONGEST_NAME:
        lacks.append(f"Write the name in {_LONGEST_NAME} letters or fewer.")
    if len(because) > _LONGEST_REASON:
        lacks.append(f"Say why in {_LONGEST_REASON} letters or fewer.")
    if lacks or due_on is None:
        raise InputError(" ".join(lacks))
    return Taken(
        name=name,
        signature=png,
        on_paper_because="" if signed == "screen" else because,
        due_on=due_on,
    )


def require_not_given(job: Job, shop: Shop) -> None:
    """Tell the second of two people who hand a car back.

    Raises:
        InputError: it was handed back already.
    """
    found = hand_back_of(job)
    if found is None:
        return
    by = found.who.shown if found.who else "Somebody"
    raise InputError(
        f"{by} handed the car back to {found.name} already, {shown_moment(found.at, shop)}; "
        "nothing was done twice."
    )


def hand_back(
    job: Job, taken: Taken, made: Draft, *, nonce: bytes, shop: Shop, who: Person
) -> HandBack:
    """Hand the car back, on a locked job in a transaction; nothing is kept when that fails.

    Args:
        job: locked.
        taken: what was entered.
        made: the passport's first version, drafted with it.
        nonce: that the address on its paper was made from.
        shop: as it was for the draft.
        who: of the shop.

    Raises:
        InputError: something is missing, it was handed back already, or something was changed
            since the draft.
        OutputError: a file cannot be kept.
    """
    require_not_given(job, shop)
    require_nothing_missing(job, at=made.at)
    signature = None
    if taken.signature:
        signature = keep(
            [taken.signature],
            name=f"{job.number}-signature.png",
            media_type="image/png",
            most_bytes=1_000_000,
            who=who,
        )
    found = HandBack.objects.create(
        job=job,
        name=taken.name,
        signature=signature,
        on_paper_because=taken.on_paper_because,
        care_given=True,
        who=who,
        at=made.at,
    )
    if job.steps.filter(kind=Kind.HAND_BACK).exists():
        finish_kind(job, Kind.HAND_BACK, who, made.at)
    keep_version(job, made, shop=shop, who=who)
    make(job, Purpose.PASSPORT, days=LINK_DAYS, who=who, nonce=nonce)
    plan(job, taken.due_on, who=who)
    signed = "signed on paper" if signature is None else "signed on the screen"
    move(
        job,
        Stage.HANDED,
        who=who,
        kind=GIVEN,
        sentence=f"The car was handed back to {taken.name}, {signed}; care was explained.",
    )
    return found


def give_again(job: Job, made: Draft, *, shop: Shop, who: Person) -> Passport:
    """Give a car back again that came in after its hand-back, on a locked job.

    Raises:
        InputError: something is missing, it is not here, or something was changed since the draft.
    """
    given_before(job)
    require_nothing_missing(job, at=made.at)
    found = keep_version(job, made, shop=shop, who=who)
    move(
        job,
        Stage.HANDED,
        who=who,
        kind=AGAIN,
        sentence="The car was given back again, after something was mended.",
    )
    return found


def correct(job: Job, made: Draft, *, shop: Shop, who: Person) -> Passport:
    """Keep a corrected version beside the earlier ones, on a locked job.

    Raises:
        InputError: the car was not handed back, or nothing differs.
    """
    given_before(job)
    before = job.passports.order_by("-version").first()
    own = ("version", "dated", "because")
    if before is not None and all(
        before.content[name] == value for name, value in made.content.items() if name not in own
    ):
        raise InputError(
            "Nothing differs from the newest version; change the vehicle's plate or VIN, or the "
            "pictures, first."
        )
    return keep_version(job, made, shop=shop, who=who)


def given_before(job: Job) -> Given:
    """How a car was handed back.

    Raises:
        InputError: it was not.
    """
    found = hand_back_of(job)
    if found is None:
        raise InputError("The car was not handed back yet; there is no passport.")
    return given_of(found)
