"""Sentences of the core made fit for people who see no coordinates."""

import re

from layflat.base import LayflatError
from layflat.papers import panel_title

_PLACES = (
    re.compile(r",? (?:first )?(?:at|near|between) (?:x -?[\d.]+, y -?[\d.]+|\([-\d., ]+\)) mm"),
    re.compile(r",? (?:at|near|between) \([-\d., ]+\) mm and \([-\d., ]+\) mm"),
)


def without_places(sentence: str) -> str:
    """*sentence* without coordinates, which say nothing to whoever stands before the car."""
    for place in reversed(_PLACES):
        sentence = place.sub("", sentence)
    return sentence


def about_panel(error: LayflatError) -> str:
    """An error as one sentence that names the panel it is about, where it is about one."""
    sentence = without_places(str(error))
    title = panel_title(error.panel)
    if not error.panel or f"“{error.panel}”" in sentence:
        return sentence.replace(f"“{error.panel}”", f"“{title}”")
    return f"{title}: {sentence[:1].lower()}{sentence[1:]}"
