"""A sending in its worker: every wish is obeyed, whenever; a full disk stops it in peace.

The machine is the stand-in of tests/send, at the other end of a socket.
"""

import functools
import re
import resource
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from layflat.base import InputError, OutputError
from layflat.send import Record
from layflat.web.jobs.models import Job
from layflat.web.people.models import Role
from layflat.web.sending import asking, running
from layflat.web.sending.models import Machine, Sending
from layflat.web.work.tasks import find
from send.programs import drawn
from send.stand_in import Plotter, SocketPlotter
from web.sending.machined import asked
from web.sending.test_drill import SignedIn, at, noted, post, power_lost, program, ready

__all__ = ["noted"]
State = Sending.State


def wished(sending: Sending, what: str) -> None:
    """What a person asks on the section's page."""
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=sending.section.layout.job_id)
        asking.wish(Sending.objects.get(pk=sending.pk), what, who=None)


def sent(sending: Sending, progress: Any) -> Sending:
    find(asking.TASK).run({"sending": sending.pk}, progress)
    return Sending.objects.select_related("section").get(pk=sending.pk)


@pytest.mark.on_sqlite
@pytest.mark.parametrize("is_waiting", [True, False])
def test_a_pause_is_obeyed_whenever_it_is_asked_for(
    signed_in: SignedIn,
    noted: list[tuple[int, float]],
    monkeypatch: pytest.MonkeyPatch,
    is_waiting: bool,
) -> None:
    """Also while the sending waits for a worker; and what was paused tells no time of cutting."""
    monkeypatch.setattr(running, "_LOOK_S", 0.0)
    _, section, machine = ready()
    said: list[str] = []
    with SocketPlotter(Plotter(size=400), speed=1e6) as there:
        Machine.objects.filter(pk=machine.pk).update(address=there.address)
        sending = asked(section, machine)

        def progress(words: str, _fraction: float) -> None:
            if not said and not is_waiting:
                wished(sending, "pause")
            if not said or words.startswith("paused before"):
                said.append(words)
            if said[-1].startswith("paused before"):
                wished(sending, "go on")

        if is_waiting:
            wished(sending, "pause")
        ended = sent(sending, progress)
    assert ended.state == State.DONE
    assert said[-1].startswith("paused before")
    assert noted == []


def test_a_weaker_wish_hides_none_that_is_not_yet_obeyed(signed_in: SignedIn) -> None:
    _, section, machine = ready()
    sending = asked(section, machine)
    Sending.objects.update(state=State.SENDING)
    stale = Sending.objects.get()
    wished(sending, "pause")
    with transaction.atomic():
        asking.wish(stale, "stop", who=None)
    assert Sending.objects.values_list("wish", "wish_number").get() == ("stop", 2)
    for words in ("pause", "go on"):
        with pytest.raises(InputError, match="is being stopped already"):
            wished(sending, words)
    wished(sending, "at once")
    assert "It is being stopped already" in asking.stop_sending({"sending": sending.pk}, None)
    assert Sending.objects.values_list("wish", "wish_number").get() == ("at once", 3)


@pytest.mark.on_sqlite
@pytest.mark.parametrize("begun", [3, 57])
def test_however_many_cuts_are_in_doubt_each_can_be_made_next(
    signed_in: SignedIn, begun: int
) -> None:
    """A machine of which nobody knows what it holds may have made all that was handed over."""
    _, section, machine = ready()
    asked(section, machine)
    Sending.objects.update(
        state=State.BROKEN,
        ended_at=timezone.now(),
        account={"whole": 0, "begun": begun, "count": 60, "least": 0, "most": 900},
        cuts=[{"name": f"outline of {n} trim", "piece": n} for n in range(1, 61)],
    )
    ines = signed_in(Role.INSTALLER)
    page = ines.get(at(section)).content.decode()
    form = page[page.index("Go on from the last safe point") :].split("</form>")[0]
    assert re.findall(r'value="(\d+)"', form.split("Which cut")[1]) == [
        str(done) for done in range(begun + 1)
    ]
    assert f"outline of {begun + 1} trim" in form
    post(ines, section, "go-on/", seen=1, done=begun, cleared="yes")
    assert Sending.objects.get(number=2).done == begun


@pytest.mark.on_sqlite
def test_on_a_full_disk_it_stops_in_peace_and_goes_on_once_there_is_room(
    signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, section, machine = ready("hood", "mirror-left", "door-left")
    plain = Record.write
    written: list[str] = []

    def full(record: Record, what: str, **values: Any) -> None:
        if len(written) == 2:
            raise OutputError(f"{record.path.name} cannot be written: No space left on device.")
        written.append(what)
        plain(record, what, **values)

    with SocketPlotter(Plotter(size=400), speed=1e6) as there:
        Machine.objects.filter(pk=machine.pk).update(address=there.address)
        with monkeypatch.context() as patch:
            patch.setattr(Record, "write", functools.partialmethod(full))
            ended = sent(asked(section, machine), lambda *_: None)
        assert ended.state == State.STOPPED
        assert "No space left on device" in ended.sentence
        ines = signed_in(Role.INSTALLER)
        assert "Stopped between two cuts" in ines.get(at(section)).content.decode()
        post(ines, section, "go-on/", seen=1)
        again = sent(Sending.objects.get(number=2), lambda *_: None)
        assert again.state == State.DONE, again.sentence
        there.wait(lambda: there.plotter.is_idle and there.is_free)
        wanted = drawn(program(section))
        assert all(there.plotter.cuts.count(line) >= 1 for line in wanted)
        # The heading's own cut in the waste is made once more.
        assert len(there.plotter.cuts) == len(wanted) + 1


@pytest.mark.on_sqlite
def test_a_record_that_is_fetched_back_is_there_as_a_whole_or_not_at_all(
    signed_in: SignedIn,
) -> None:
    """Half of one would say less than was sent, and nobody could go on with it ever after."""
    _, section, machine = ready("hood", "mirror-left", "door-left")
    strokes = len(drawn(program(section)))
    sending, plotter = power_lost(section, machine, stroke=strokes - 2)
    wanted = drawn(program(section))
    whole = next(i for i, line in enumerate(wanted) if line not in plotter.cuts)
    record = running.record_path(sending)
    kept = record.read_bytes()
    record.unlink()
    ines = signed_in(Role.INSTALLER)
    post(ines, section, "go-on/", seen=1, done=whole, cleared="yes")
    again = running._read(Sending.objects.get(number=2).pk)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(kept) // 2, limits[1]))
    try:
        with pytest.raises(OutputError, match="cannot be written: File too large"):
            running._record_ready(again)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert not record.exists()
    assert running._record_ready(again) == record
    assert record.read_bytes() == kept
