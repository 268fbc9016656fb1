"""Every address of the app, by the part that answers."""

from django.urls import include, path

urlpatterns = [
    path("", include("layflat.web.board.urls")),
    path("", include("layflat.web.people.urls")),
    path("bodies/", include("layflat.web.bodies.urls")),
    path("bodies/", include("layflat.web.patterns.urls")),
    path("bodies/", include("layflat.web.scanning.urls")),
    path("bodies/", include("layflat.web.shaping.urls")),
    path("bodies/", include("layflat.web.exchanging.urls")),
    path("bodies/", include("layflat.web.tracing.urls")),
    path("bodies/", include("layflat.web.noting.urls")),
    path("jobs/", include("layflat.web.bay.urls")),
    path("jobs/", include("layflat.web.jobs.urls")),
    path("jobs/", include("layflat.web.cover.urls")),
    path("jobs/", include("layflat.web.fit.urls")),
    path("jobs/", include("layflat.web.cutting.urls")),
    path("", include("layflat.web.sending.urls")),
    path("", include("layflat.web.links.urls")),
    path("", include("layflat.web.offer.urls")),
    path("", include("layflat.web.taps.urls")),
    path("", include("layflat.web.gates.urls")),
    path("", include("layflat.web.diary.urls")),
    path("", include("layflat.web.laying.urls")),
    path("", include("layflat.web.inspection.urls")),
    path("stock/week/", include("layflat.web.week.urls")),
    path("stock/", include("layflat.web.stock.urls")),
    path("", include("layflat.web.finding.urls")),
    path("", include("layflat.web.handback.urls")),
    path("work/", include("layflat.web.work.urls")),
]
handler500 = "layflat.web.full_disk.fault"
