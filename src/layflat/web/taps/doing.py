"""Doing what was tapped: exactly once, in a tablet's own order, or not at all and said."""

import re
from collections.abc import Mapping
from typing import Any, Final

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import Http404
from django.utils import timezone

from layflat.base import InputError, LayflatError, OutputError
from layflat.web.jobs.models import Job
from layflat.web.jobs.pictures import MOST_BYTES
from layflat.web.people.models import Person, Role
from layflat.web.record.models import write_event
from layflat.web.taps import order
from layflat.web.taps.acts import Act, Call, find, title_of
from layflat.web.taps.clock import Moment, moment_of
from layflat.web.taps.models import Device, Tap

KEY: Final = re.compile(r"[0-9a-f]{32}")
_SET_ASIDE: Final = (
    "The server failed on it again and again, and it was set aside on the tablet; do it anew if it "
    "is still to be done."
)
_MOST_KEPT: Final = 2000
"""Characters of one entered field that are kept with its tap."""


def do(
    name: str,
    *,
    key: str,
    who: Person,
    job: str = "",
    fields: Mapping[str, str] | None = None,
    files: Mapping[str, "UploadedFile[Any]"] | None = None,
    sent: order.Sent | None = None,
) -> Tap:
    """Do one tap once; sent again, it finds what came of it the first time.

    The tap's row is written in the transaction that makes the change. An act that refuses leaves
    nothing but its row and an event; whatever else goes wrong leaves nothing, and the tap may be
    sent again.

    Args:
        name: of the act.
        key: of the tap, 32 hexadecimal digits.
        who: tapped.
        job: number of the job, or "".
        fields, files: the act's own.
        sent: how a tablet counted and timed it; None for a plain form.

    Raises:
        InputError: the key is none.
        EarlierError: an earlier tap of the tablet has not come in yet.
        OutputError: the disk is full; nothing was changed.
    """
    if not KEY.fullmatch(key):
        raise InputError("This page is out of date; open it anew and tap again.")
    asked = _Asked(name, key, who, job, dict(fields or {}), dict(files or {}))
    with transaction.atomic():
        return _once(asked, sent)


class _Asked:
    """What a tap asks for."""

    def __init__(
        self,
        name: str,
        key: str,
        who: Person,
        job: str,
        fields: dict[str, str],
        files: dict[str, "UploadedFile[Any]"],
    ) -> None:
        self.name, self.key, self.who, self.job = name, key, who, job
        self.fields, self.files = fields, files


def _once(asked: _Asked, sent: order.Sent | None) -> Tap:
    received_at = timezone.now()
    device = None if sent is None else order.locked_device(sent.device)
    before = Tap.objects.filter(key=asked.key).first()
    if before is not None:
        if sent is not None and device is not None:
            order.note_again(device, sent)
        return before
    turn = order.Turn() if sent is None or device is None else order.turn_of(device, sent)
    moment = moment_of(received_at, sent, after=_last_moment(device))
    row, is_new = Tap.objects.get_or_create(
        key=asked.key, defaults=_values(asked, device, turn, moment)
    )
    if not is_new:
        return row
    if device is not None:
        order.count(device, turn)
    refused = turn.refused or (_SET_ASIDE if sent is not None and sent.is_set_aside else "")
    refused = refused or _refusal(row, asked, moment)
    if refused:
        row.job = row.job or Job.objects.filter(number=asked.job).first()
        _refuse(row, refused)
    row.save(update_fields=["state", "says", "job"])
    return row


def _last_moment(device: Device | None) -> "Moment | None":
    if device is None:
        return None
    last = device.taps.order_by("-id").values_list("tapped_at", flat=True).first()
    return None if last is None else Moment(last)


def _values(
    asked: _Asked, device: Device | None, turn: order.Turn, moment: Moment
) -> dict[str, object]:
    return {
        "device": device,
        "number": turn.number,
        "act": asked.name[:40],
        "fields": {name[:60]: text[:_MOST_KEPT] for name, text in asked.fields.items()},
        "who": asked.who,
        "tapped_at": moment.at,
        "is_late": moment.is_late,
        "clock_note": moment.note,
        "state": Tap.State.DONE,
        "says": "",
    }


def _refusal(row: Tap, asked: _Asked, moment: Moment) -> str:
    """Do it within a savepoint; why not, or ""."""
    try:
        with transaction.atomic():
            known = find(asked.name)
            row.job = _job_of(asked, known)
            _must_be_allowed(known, asked)
            row.says = known.run(
                Call(
                    job=row.job,
                    who=asked.who,
                    at=moment.at,
                    fields=asked.fields,
                    files=asked.files,
                    key=asked.key,
                )
            )[:400]
    except OutputError:
        # A full disk is no answer: the tap is to be sent again when there is room.
        raise
    except (LayflatError, Http404) as error:
        return str(error) or "There is no such thing any more; open the page anew."
    return ""


def _job_of(asked: _Asked, known: Act) -> Job | None:
    if not asked.job:
        if known.needs_job:
            raise InputError("The tap does not say which job it is about; open the page anew.")
        return None
    found = Job.objects.select_for_update().filter(number=asked.job).first()
    if found is None:
        raise InputError(f"There is no job {asked.job}.")
    return found


def _must_be_allowed(known: Act, asked: _Asked) -> None:
    role = Role(asked.who.role)
    if role not in known.roles:
        raise InputError(
            f"{asked.who.shown} signs in as {role.label.lower()}, and this is done by: "
            f"{', '.join(one.label.lower() for one in Role if one in known.roles)}."
        )
    for file in asked.files.values():
        if (file.size or 0) > MOST_BYTES:
            raise InputError(
                f"The picture is larger than {MOST_BYTES // 1_000_000} MB; take it with a "
                "lower resolution."
            )


def _refuse(row: Tap, why: str) -> None:
    row.state, row.says = Tap.State.REFUSED, why[:400]
    write_event(
        "taps.refused",
        f"Did not go in: {title_of(row.act)}. {why}",
        who=row.who,
        job=row.job,
        after={"tap": row.key, "act": row.act},
    )
