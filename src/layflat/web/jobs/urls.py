"""Addresses of this part."""

from django.urls import path

from layflat.web.jobs.views import enquiry, find, history, job, walk_round

app_name = "jobs"
urlpatterns = [
    path("", find.find, name="find"),
    path("enquiry/", enquiry.enquiry, name="enquiry"),
    path("find/customers/", enquiry.customers, name="customers"),
    path("find/bodies/", enquiry.bodies, name="bodies"),
    path("vin/", enquiry.vin, name="vin"),
    path("<str:number>/", job.job, name="job"),
    path("<str:number>/workshop/", job.workshop, name="workshop"),
    path("<str:number>/edit/<slug:part>/", job.edit, name="edit"),
    path("<str:number>/begin/", job.begin, name="begin"),
    path("<str:number>/back/", job.back, name="back"),
    path("<str:number>/close/", job.close, name="close-job"),
    path("<str:number>/reopen/", job.reopen, name="reopen"),
    path("<str:number>/history/", history.history, name="history"),
    path("<str:number>/history/<int:event>/back/", history.put_event_back, name="put-back"),
    path("<str:number>/walk-round/", walk_round.walk_round, name="walk-round"),
    path("<str:number>/walk-round/close/", walk_round.close, name="close"),
    path("<str:number>/faults/", walk_round.add, name="add-fault"),
    path("<str:number>/faults/<int:fault>/withdraw/", walk_round.withdraw, name="withdraw"),
    path("<str:number>/faults/<int:fault>/restore/", walk_round.restore, name="restore"),
    path("<str:number>/warnings/", walk_round.warnings, name="warnings"),
    path("<str:number>/pictures/<slug:sha256>/", walk_round.picture, name="picture"),
]
