"""Saved covers: what the shop begins from again on one body."""

from layflat.base import InputError
from layflat.web.bodies.models import Body
from layflat.web.cover.alternatives import choices_of, clean_title
from layflat.web.cover.models import Cover, SavedCover
from layflat.web.people.models import Person
from layflat.web.record.models import write_event


def save_cover(cover: Cover, *, title: str, who: Person | None) -> SavedCover:
    """Keep what a locked cover covers as a starting point; itself when it is kept so already.

    Raises:
        InputError: nothing is covered, or the title is missing, too long or taken.
    """
    title = clean_title(title)
    if not choices_of(cover).panels:
        raise InputError("Nothing is covered yet; choose panels before this is saved.")
    body = Body.objects.select_for_update().get(pk=cover.body.body_id)
    for other in body.saved_covers.all():
        if other.title.casefold() != title.casefold():
            continue
        if other.choices == cover.choices and not other.is_retired:
            return other
        state = ", which is retired" if other.is_retired else ""
        raise InputError(f"The {body} has a saved cover “{title}” already{state}; say another one.")
    kept = SavedCover.objects.create(
        body=body, title=title, choices=cover.choices, revision=cover.body, saved_by=who
    )
    write_event(
        "cover.saved",
        f"“{cover.title}” was saved as a starting point, “{title}”.",
        who=who,
        job=cover.job,
        after={"saved": kept.pk, "cover": cover.number},
    )
    return kept


def set_retired(saved: SavedCover, *, is_retired: bool, who: Person | None) -> None:
    """Show a locked saved cover no longer, or show it again; nothing when that is so already."""
    if saved.is_retired == is_retired:
        return
    saved.is_retired = is_retired
    saved.save(update_fields=["is_retired"])
    done = "retired" if is_retired else "shown again"
    write_event(
        "cover.saved-retired" if is_retired else "cover.saved-restored",
        f"The saved cover “{saved.title}” of the {saved.body} is {done}.",
        who=who,
        after={"saved": saved.pk},
    )
