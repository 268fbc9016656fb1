"""This part as Django knows it."""

from importlib import import_module

from django.apps import AppConfig


class InspectionConfig(AppConfig):
    """Checking by somebody who laid none of it; flags and how they ended."""

    name = "layflat.web.inspection"
    label = "inspection"

    def ready(self) -> None:
        """Enter the acts, what must be true before the step is done, and hear of laid film."""
        from layflat.web.gates.doing import done_when
        from layflat.web.gates.models import Kind
        from layflat.web.inspection.flags import new_film_laid, not_laid_after_all
        from layflat.web.inspection.open import is_checked
        from layflat.web.laying.done import when_laid, when_undone

        import_module("layflat.web.inspection.acts")
        done_when(Kind.INSPECT, is_checked)
        when_laid(new_film_laid)
        when_undone(not_laid_after_all)
