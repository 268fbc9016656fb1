"""Django's entry to this part."""

from django.apps import AppConfig


class BoardConfig(AppConfig):
    """The board: every open job by where it stands."""

    name = "layflat.web.board"
    label = "board"
