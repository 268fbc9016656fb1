"""This part as Django knows it."""

from django.apps import AppConfig


class DiaryConfig(AppConfig):
    """The calendar: who and what is where on which day."""

    name = "layflat.web.diary"
    label = "diary"

    def ready(self) -> None:
        """Show a job's bookings on its page, and lead from its history to them."""
        from layflat.web.diary.on_job import read, take_back
        from layflat.web.jobs.additions import Section, add_section, add_undo

        add_section(Section(template="diary/on_job.html", read=read))
        add_undo(take_back)
