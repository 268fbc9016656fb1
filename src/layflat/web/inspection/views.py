"""Pictures of flags."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from layflat.web.inspection.models import Flag
from layflat.web.laying.views import sent_picture


@require_safe
def picture(request: HttpRequest, number: str, sha256: str) -> HttpResponse:
    """A picture of a flag."""
    of_job = Flag.objects.filter(job__number=number)
    is_known = (
        of_job.filter(photo__sha256=sha256).exists() or of_job.filter(thumb__sha256=sha256).exists()
    )
    return sent_picture(request, sha256, is_known=is_known)
