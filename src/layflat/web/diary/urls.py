"""Addresses of this part."""

from django.urls import path

from layflat.web.diary.views import bookings, calendar, placing, settings

app_name = "diary"
urlpatterns = [
    path("calendar/", calendar.calendar, name="calendar"),
    path("calendar/new/", bookings.new, name="new"),
    path("calendar/booking/<int:booking>/", bookings.booking, name="booking"),
    path("calendar/booking/<int:booking>/change/", bookings.change_it, name="change"),
    path("calendar/booking/<int:booking>/out/", bookings.out, name="out"),
    path("calendar/job/<str:number>/", placing.job, name="job"),
    path("calendar/settings/", settings.page, name="settings"),
    path("calendar/settings/hours/", settings.hours, name="hours"),
    path("calendar/settings/place/<int:place>/", settings.place, name="place"),
    path("calendar/feeds/", settings.feeds, name="feeds"),
    path("calendar/feeds/<int:link>/revoke/", settings.revoke, name="revoke"),
    path("calendar/feed/<str:feed>.ics", calendar.feed, name="feed"),
]
