"""This part as Django knows it."""

from django.apps import AppConfig


class GatesConfig(AppConfig):
    """The steps of a job in order, their timers, tools and cloths."""

    name = "layflat.web.gates"
    label = "gates"

    def ready(self) -> None:
        """Enter what can be tapped, and show a job's steps on its page."""
        from importlib import import_module

        from layflat.web.gates.on_job import next_in_the_bay, next_when_accepted, read
        from layflat.web.jobs.additions import Section, add_section
        from layflat.web.jobs.models import Stage
        from layflat.web.jobs.stages import when_next

        import_module("layflat.web.gates.acts")
        add_section(Section(template="gates/on_job.html", read=read, is_work=True))
        when_next(Stage.ACCEPTED, next_when_accepted)
        when_next(Stage.BAY, next_in_the_bay)
