"""Changing a cover: one change at a time on the locked row, refused where somebody was quicker."""

from collections.abc import Callable, Iterable
from typing import Any, Final

from layflat.base import InputError
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import Choices, from_json, to_json
from layflat.web.cover.choosing import Changed, panel_json
from layflat.web.cover.models import Cover
from layflat.web.cover.panels import panels_on
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.models import Person
from layflat.web.record.models import Event, write_event

CHANGED: Final = "cover.changed"
UNDONE: Final = "cover.undone"
OPEN_AT: Final = (Stage.COVER, Stage.OFFERED)
"""Stages at which covers may change."""
_LOOKED_BACK: Final = 200
_BEING_LAID: Final = "The vehicle is in the bay; its cover stays as it was accepted."
_WHY_NOT: Final = {
    Stage.ENQUIRY: "Walk round the vehicle first; the cover is chosen after that.",
    Stage.INTAKE: "Close the walk-round first; the cover is chosen after that.",
    Stage.ACCEPTED: "The offer is accepted, and the cover with it; open the offer again with a "
    "reason before anything is changed.",
    Stage.BAY: _BEING_LAID,
    Stage.CHECKED: _BEING_LAID,
    Stage.HANDED: "The vehicle is handed back; its cover stays as it was laid.",
    Stage.CLOSED: "The job is closed; its cover stays as it was.",
}


def why_not(job: Job) -> str:
    """Why covers of a job cannot be changed now, in a sentence; "" where they can."""
    return _WHY_NOT.get(Stage(job.stage), "")


def require_open(job: Job) -> None:
    """Refuse where covers cannot be changed now.

    Raises:
        InputError: they cannot.
    """
    if why_not(job):
        raise InputError(why_not(job))


def locked_cover(job: Job, number: int, *, body: Revision | None = None) -> Cover:
    """A cover of a locked job, read anew and locked with its job.

    Args:
        job: locked.
        number: of the cover.
        body: its revision with its files, if the caller has it: a cover never changes its body.

    Raises:
        InputError: there is none, it is dropped, or covers cannot be changed now.
    """
    require_open(job)
    found = job.covers.select_for_update(of=("self",)).filter(number=number).first()
    if found is None:
        raise InputError("There is no such alternative any more.")
    if found.is_dropped:
        raise InputError(f"“{found.title}” is dropped; restore it before it is changed.")
    # The job that is locked already, and the body with its files for whoever measures on it.
    found.job = job
    if body is None or body.pk != found.body_id:
        files = ("body", "light", "lines", "panels")
        body = Revision.objects.select_related(*files).get(pk=found.body_id)
    found.body = body
    return found


def change_choices(
    cover: Cover,
    panel: str,
    make: Callable[[Choices], Changed],
    *,
    seen: str,
    now: Callable[[Choices], str],
    who: Person | None,
) -> str:
    """Change what is chosen for one panel; nothing when it is so already.

    Args:
        cover: locked.
        panel: its name.
        make: the change.
        seen: the short word for what the person saw before.
        now: that word for choices as they are.
        who: changes it.

    Returns:
        what happened, as a sentence; "" for nothing.

    Raises:
        InputError: the change is not possible, or somebody changed the same since; nothing is
            changed.
    """
    before = from_json(cover.choices)
    changed = make(before)
    if changed.choices == before:
        return ""
    title = panels_on(cover.body).title(panel)
    if now(before) != seen:
        raise InputError(_was_quicker(cover, panel, title))
    sentence = f"{title}: {changed.says.removesuffix('.')}."
    _save(
        cover, panel, changed.choices, kind=CHANGED, sentence=f"{cover.title}. {sentence}", who=who
    )
    return sentence


def _was_quicker(cover: Cover, panel: str, title: str) -> str:
    last = next((event for event in _events(cover) if _panel_of(event) == panel), None)
    by = last.by if last else "Somebody"
    return (
        f"{by} changed the same on “{title}” in the meantime, so your change was not made. This "
        "page now shows how it stands; choose again if you still want yours."
    )


def _save(
    cover: Cover,
    panel: str,
    choices: Choices,
    *,
    kind: str,
    sentence: str,
    who: Person | None,
    undoes: int | None = None,
) -> None:
    before = from_json(cover.choices)
    cover.choices = to_json(choices)
    cover.version += 1
    cover.save(update_fields=["choices", "version", "changed_at"])
    about: dict[str, Any] = {"cover": cover.number, "panel": panel}
    after = {**about, "choice": panel_json(choices, panel), "version": cover.version}
    write_event(
        kind,
        sentence,
        who=who,
        job=cover.job,
        before={**about, "choice": panel_json(before, panel)},
        after=after if undoes is None else {**after, "undoes": undoes},
    )


def last_change(cover: Cover) -> Event | None:
    """The newest change of a cover that has not been taken back, if there is one."""
    taken_back: set[int] = set()
    for event in _events(cover):
        if event.kind == UNDONE:
            taken_back.add((event.after or {}).get("undoes", 0))
        elif event.pk not in taken_back:
            return event
    return None


def undo(cover: Cover, event: Event, *, who: Person | None) -> str:
    """Take one change back, unless the same panel was changed again since.

    Args:
        cover: locked.
        event: the change.
        who: takes it back.

    Returns:
        what happened, as a sentence; "" when it had been taken back already.

    Raises:
        InputError: it is no change of this cover, or the same panel was changed again; nothing is
            changed.
    """
    before, after = event.before, event.after
    is_ours = event.kind == CHANGED and event.job_id == cover.job_id
    if not is_ours or before is None or after is None or after.get("cover") != cover.number:
        raise InputError("This cannot be taken back here; open the page anew.")
    panel: str = after["panel"]
    if any((item.after or {}).get("undoes") == event.pk for item in _events(cover)):
        return ""
    choices = from_json(cover.choices)
    title = panels_on(cover.body).title(panel)
    if panel_json(choices, panel) != after["choice"]:
        raise InputError(
            f"“{title}” was changed again since, so it stays as it is; change it on the body."
        )
    earlier = choices.without(panel)
    if before["choice"] is not None:
        (old,) = from_json({"panels": [before["choice"]]}).panels
        earlier = earlier.with_panel(old)
    sentence = f"Taken back: {event.sentence}"
    _save(cover, panel, earlier, kind=UNDONE, sentence=sentence, who=who, undoes=event.pk)
    return f"{title} is as it was before."


def _events(cover: Cover) -> Iterable[Event]:
    """Changes of a cover and what was taken back, the newest first."""
    events = Event.objects.filter(job_id=cover.job_id, kind__in=(CHANGED, UNDONE))
    newest = events.order_by("-id")[:_LOOKED_BACK]
    return [event for event in newest if (event.after or {}).get("cover") == cover.number]


def _panel_of(event: Event) -> str:
    panel: str = (event.after or {}).get("panel", "")
    return panel
