"""Sending, in a worker. It may be ended at any moment; what was cut stays known.

A sending is begun once, whatever happens to its worker: whoever takes it up a second time finds
it begun, sends nothing, and says from the record what may have been cut.
"""

import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from layflat.base import InputError, LayflatError, OutputError, Progress, write_bytes
from layflat.cut import CutProgram, SectionProgram, plain_text
from layflat.send import (
    Account,
    Ask,
    GoOn,
    Outcome,
    Pace,
    Record,
    Spool,
    account_of,
    read_address,
    read_record,
    send,
    spool_of,
    told_spool,
)
from layflat.send import State as Ended
from layflat.web.cutting.sharing import tell
from layflat.web.cutting.times import note_time
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Job
from layflat.web.sending.judging import account_json, judged
from layflat.web.sending.models import Sending
from layflat.web.sending.prepared import drawing_of, piece_called, piece_number, program_of
from layflat.web.sending.values import read_values

PATIENCE_S: Final = 600.0
"""How long a machine may take nothing before its line counts as lost."""
MOST_WAIT_S: Final = 300.0
"""How long after it was asked for a sending may begin: by then whoever stood there is gone."""
_LOOK_S: Final = 0.25
_WRITE_S: Final = 0.5
_MOST_BYTES: Final = 64_000_000
_State = Sending.State
_STATES: Final = {
    Ended.DONE: _State.DONE,
    Ended.STOPPED: _State.STOPPED,
    Ended.CUT_OFF: _State.CUT_OFF,
    Ended.BROKEN: _State.BROKEN,
}
_BY_NAME: Final = {ended.value: state for ended, state in _STATES.items()}


def run(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Send what was asked for; a second attempt only says what became of the first.

    Args:
        inputs: `sending`, the row's key.
        progress: told which piece is being cut.

    Returns:
        `state`, how it ended.
    """
    key = inputs["sending"]
    rows = Sending.objects.filter(pk=key, state=_State.ASKED)
    is_mine = rows.update(state=_State.SENDING, began_at=timezone.now())
    row = _read(key)
    if not is_mine and row.state != _State.SENDING:
        return {"state": row.state}
    layout = row.section.layout
    try:
        program = program_of(layout)
        section = next(one for one in program.sections if one.number == row.section.number)
        spool = _spool(row, section)
    except LayflatError as error:
        _refuse(row, str(error))
        return {"state": _State.REFUSED.value}
    _name_cuts(row, section, spool)
    if is_mine and (timezone.now() - row.asked_at).total_seconds() > MOST_WAIT_S:
        _refuse(row, "It waited too long for a worker; look at the machine, and send it anew.")
    elif is_mine:
        _send(row, program, spool, progress)
    else:
        _settle(row, program, spool)
    return {"state": Sending.objects.values_list("state", flat=True).get(pk=key)}


def record_path(row: Sending) -> Path:
    """Where the record of a sending lies while it is written."""
    folder: Path | None = settings.FILES_FOLDER
    if folder is None:
        raise OutputError("There is no data folder; name one in LAYFLAT_DATA.")
    return folder.parent / "sendings" / row.record_name


def _read(key: int) -> Sending:
    related = ("section__layout__job", "section__layout__outcome", "section__program", "program")
    return Sending.objects.select_related(*related, "goes_on__record", "machine").get(pk=key)


def _spool(row: Sending, section: SectionProgram) -> Spool:
    try:
        data = path_of(row.program.sha256).read_bytes()
    except OSError as error:
        raise InputError("The program is no longer in the data folder.") from error
    machine = read_values(row.values)
    data = plain_text(data.decode("ascii", "replace"), machine).encode("ascii", "replace")
    kinds = [cut.kind for cut in section.cuts]
    lowered = [cut.last - cut.first for cut in section.cuts]
    is_known = bool(kinds) and data == section.hpgl.encode("ascii")
    spool = spool_of(
        data,
        name=f"Section {row.section.number}",
        cuts=list(zip(_names(section), lowered, strict=True)) if is_known else (),
        heading=kinds.index("heading") if is_known and "heading" in kinds else None,
    )
    return told_spool(spool, machine)


def _names(section: SectionProgram) -> tuple[str, ...]:
    return replace(section, pieces=tuple(map(piece_called, section.pieces))).cut_names


def _name_cuts(row: Sending, section: SectionProgram, spool: Spool) -> None:
    pieces: list[int | None] = [
        None if cut.piece is None else piece_number(section.pieces[cut.piece])
        for cut in section.cuts
    ]
    if len(pieces) != len(spool.cuts):
        pieces = [None] * len(spool.cuts)
    row.cuts = [
        {"name": cut.name, "piece": piece} for cut, piece in zip(spool.cuts, pieces, strict=True)
    ]
    row.save(update_fields=["cuts"])


def _send(row: Sending, program: CutProgram, spool: Spool, progress: Progress) -> None:
    watch = _Watch(row, progress)
    try:
        path = _record_ready(row)
        outcome: Outcome = send(
            spool,
            address=read_address(row.address),
            machine=read_values(row.values),
            record_path=path,
            section=row.section.number,
            go_on=None if row.goes_on_id is None else GoOn(done=row.done, cleared=row.is_cleared),
            pace=Pace(patience_s=PATIENCE_S),
            asks=watch.asks,
            progress=watch.show,
        )
    except LayflatError as error:
        _refuse(row, str(error))
        return
    _end(
        row,
        _STATES[outcome.state],
        program,
        account=outcome.account,
        place=(outcome.least, outcome.most),
        sentence=outcome.sentence,
    )


def _record_ready(row: Sending) -> Path:
    """The record's path, its folder there; a record that is gone is taken from where it is kept."""
    path = record_path(row)
    before = row.goes_on
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if before is not None and before.record is not None and not path.exists():
            write_bytes(path, path_of(before.record.sha256).read_bytes())
    except OSError as error:
        raise OutputError(f"The record cannot be written: {error.strerror}.") from error
    if before is not None and before.state == _State.STOPPED and before.account is not None:
        _record_ended(path, before.account)
    return path


def _record_ended(path: Path, account: Mapping[str, Any]) -> None:
    """Write into a record that its sending stopped in peace, where the disk was full by then."""
    if read_record(path).how == Ended.STOPPED.value:
        return
    record = Record(path, again=True)
    try:
        place = {name: account[name] for name in ("least", "most")}
        record.write("ended", how=Ended.STOPPED.value, reason="", **place)
    finally:
        record.close()


class _Watch:
    """What a person asks of a sending, and what they see of it, by way of its row.

    A database that is away for a moment must not end a sending: the machine goes on cutting.
    """

    def __init__(self, row: Sending, progress: Progress) -> None:
        # What was asked while it waited for a worker counts too; a row is sent once, so that no
        # wish is left from before.
        self._key, self._number = row.pk, 0
        self._progress = progress
        self._looked_at = self._written_at = 0.0

    def asks(self) -> Ask | None:
        """What was asked since the last time."""
        now = time.monotonic()
        if now - self._looked_at < _LOOK_S:
            return None
        self._looked_at = now
        try:
            rows = Sending.objects.filter(pk=self._key)
            what, number = rows.values_list("wish", "wish_number").get()
        except DatabaseError:
            connection.close()
            return None
        if number == self._number:
            return None
        self._number = number
        return Ask(what)

    def show(self, step: str, fraction: float) -> None:
        """Say how far it is."""
        self._progress(step, fraction)
        now = time.monotonic()
        if now - self._written_at < _WRITE_S:
            return
        self._written_at = now
        try:
            Sending.objects.filter(pk=self._key).update(says=step[:200], fraction=fraction)
        except DatabaseError:
            connection.close()


def _settle(row: Sending, program: CutProgram, spool: Spool) -> None:
    """Say from the record what became of a sending whose worker is gone."""
    try:
        past = read_record(record_path(row))
    except (LayflatError, OSError):
        # Nothing goes down the line before its beginning stands in the record.
        _refuse(row, "It broke off with this computer before anything was sent.")
        return
    account = account_of(spool, least=past.least, most=past.most)
    words = past.reason or "its worker was ended"
    _end(
        row,
        _BY_NAME.get(past.how, _State.CRASHED),
        program,
        account=account,
        place=(past.least, past.most),
        sentence=f"Broken off: {words}. {account.sentence} The machine may go on with what it "
        "holds: wait until it rests, clear it by its own means, and look at the film.",
    )


def _refuse(row: Sending, sentence: str) -> None:
    """Nothing was sent: the section stands as it did before."""
    if row.goes_on_id is None:
        record_path(row).unlink(missing_ok=True)
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=row.section.layout.job_id)
        row.state, row.sentence, row.ended_at = _State.REFUSED, sentence[:800], timezone.now()
        row.save(update_fields=["state", "sentence", "ended_at"])
        _note(row, f"Nothing was sent to {row.machine}: {sentence}")


def _end(
    row: Sending,
    state: Sending.State,
    program: CutProgram,
    *,
    account: Account,
    place: tuple[int, int],
    sentence: str,
) -> None:
    machine = read_values(row.values)
    # What was sent to the end is whole once the machine rests; a person looks all the same.
    whole = account.begun_strokes if state == _State.DONE else account.whole_strokes
    try:
        drawing = drawing_of(row.section.layout)
    except (LayflatError, OSError):
        drawing = None
    pieces = judged(
        program,
        drawing,
        machine,
        number=row.section.number,
        whole=whole,
        begun=account.begun_strokes,
    )
    record = _kept_record(row)
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=row.section.layout.job_id)
        row.state, row.sentence, row.ended_at = state, sentence[:800], timezone.now()
        row.account = account_json(account, least=place[0], most=place[1])
        row.judged, row.record = pieces, record
        row.save(update_fields=["state", "sentence", "ended_at", "account", "judged", "record"])
        row.refresh_from_db(fields=["wish_number"])
        if state == _State.DONE and row.goes_on_id is None and row.wish_number == 0:
            # Sent in one go: nobody paused it, nothing was cut before.
            note_time(row.section, since=row.began_at, until=row.ended_at)
        _note(row, sentence)


def _kept_record(row: Sending) -> StoredFile | None:
    name = f"{row.section.layout.job.number}-{row.record_name}"
    try:
        data = record_path(row).read_bytes()
        return keep_file(
            [data], name=name, media_type="text/plain", most_bytes=_MOST_BYTES, who=None
        )
    except (OSError, OutputError, InputError):
        return None  # the file itself stays where it was written


def _note(row: Sending, sentence: str) -> None:
    section = row.section
    tell(
        "sending.ended",
        f"Section {section.number} of layout {section.layout.number}, {row.get_state_display()}. "
        f"{sentence}",
        section.layout,
        who=None,
        after={"sending": row.pk, "state": row.state},
    )
