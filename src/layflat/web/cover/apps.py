"""This part as Django knows it."""

from django.apps import AppConfig


class CoverConfig(AppConfig):
    """Covers: what one job covers, its alternatives, and what computing them found."""

    name = "layflat.web.cover"
    label = "cover"

    def ready(self) -> None:
        """Show covers on a job's page, and have their changes taken back from its history."""
        from layflat.web.cover.on_job import take_back
        from layflat.web.jobs.additions import Section, add_section, add_undo

        add_section(Section(template="cover/on_job.html"))
        add_undo(take_back)
