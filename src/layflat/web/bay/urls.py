"""Addresses of the page in the bay."""

from django.urls import path

from layflat.web.bay import views

app_name = "bay"
urlpatterns = [
    path("bay-worker.js", views.worker, name="worker"),
    path("<str:number>/bay/", views.bay, name="bay"),
]
