"""This part as Django knows it."""

from django.apps import AppConfig


class HandbackConfig(AppConfig):
    """Handing back: pictures, signature, passport, follow-up visit."""

    name = "layflat.web.handback"
    label = "handback"

    def ready(self) -> None:
        """Show the hand-back on a job's page, and say what must be true before it is done."""
        from layflat.web.gates.doing import done_when
        from layflat.web.gates.elsewhere import done_elsewhere
        from layflat.web.gates.models import Kind
        from layflat.web.handback.on_job import (
            next_when_checked,
            next_when_handed,
            not_handed,
            read,
            where_handed_back,
        )
        from layflat.web.jobs.additions import Section, add_section
        from layflat.web.jobs.models import Stage
        from layflat.web.jobs.stages import when_next

        add_section(Section(template="handback/on_job.html", read=read, is_work=True))
        when_next(Stage.CHECKED, next_when_checked)
        when_next(Stage.HANDED, next_when_handed)
        done_when(Kind.HAND_BACK, not_handed)
        done_elsewhere(Kind.HAND_BACK, where_handed_back)
