"""This part as Django knows it."""

from django.apps import AppConfig


class CuttingConfig(AppConfig):
    """Layouts on real stock, and cutting them in sections."""

    name = "layflat.web.cutting"
    label = "cutting"

    def ready(self) -> None:
        """Enter what is tapped at the plotter, and show on a job's page how far cutting is."""
        from layflat.web.cutting import acts  # noqa: F401 - entering its acts is all it is for
        from layflat.web.cutting.on_job import read
        from layflat.web.jobs.additions import Section, add_section

        add_section(Section(template="cutting/on_job.html", read=read, is_work=True))
