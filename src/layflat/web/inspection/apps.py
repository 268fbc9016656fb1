"""This part as Django knows it."""

from importlib import import_module

from django.apps import AppConfig


class InspectionConfig(AppConfig):
    """Checking by somebody who laid none of it; flags and how they ended."""

    name = "layflat.web.inspection"
    label = "inspection"

    def ready(self) -> None:
        """Enter the acts and what must be true of a step; hear of laid film; show it on a job."""
        from layflat.web.gates.doing import done_when
        from layflat.web.gates.elsewhere import done_elsewhere
        from layflat.web.gates.models import Kind
        from layflat.web.inspection.flags import new_film_laid, not_laid_after_all
        from layflat.web.inspection.on_job import read
        from layflat.web.inspection.open import is_checked
        from layflat.web.inspection.who_may import where_inspected
        from layflat.web.jobs.additions import Section, add_section
        from layflat.web.laying.done import when_laid, when_undone

        import_module("layflat.web.inspection.acts")
        done_when(Kind.INSPECT, is_checked)
        done_elsewhere(Kind.INSPECT, where_inspected)
        when_laid(new_film_laid)
        when_undone(not_laid_after_all)
        add_section(Section(template="inspection/on_job.html", read=read, is_work=True))
