"""Addresses of this part."""

from django.urls import path

from layflat.web.sending.views import machines, section

app_name = "sending"
_AT = "jobs/<str:number>/film/<int:layout>/<int:section>/machine/"
urlpatterns = [
    path("shop/machines/", machines.page, name="machines"),
    path("shop/machines/new/", machines.new, name="new-machine"),
    path("shop/machines/<int:machine>/", machines.machine, name="machine"),
    path("shop/machines/<int:machine>/there/", machines.is_there, name="is-there"),
    path("shop/machines/<int:machine>/put-away/", machines.put_away, name="put-away"),
    path(_AT, section.page, name="section"),
    path(f"{_AT}live/", section.live, name="live"),
    path(f"{_AT}begin/", section.begin, name="begin"),
    path(f"{_AT}go-on/", section.go_on, name="go-on"),
    path(f"{_AT}wish/", section.wish, name="wish"),
    path(f"{_AT}find-out/", section.find_out, name="find-out"),
    path(f"{_AT}looked-at/", section.looked_at, name="looked-at"),
    path(f"{_AT}prepare/", section.prepare, name="prepare"),
    path(f"{_AT}read/", section.read, name="read"),
    path(f"{_AT}correct/", section.correct, name="correct"),
]
