"""Django's entry to this part."""

from django.apps import AppConfig


class RecordConfig(AppConfig):
    """What happened to a job, who did it and when; nothing is overwritten silently."""

    name = "layflat.web.record"
    label = "record"
