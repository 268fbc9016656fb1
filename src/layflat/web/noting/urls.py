"""Addresses of this part."""

from django.urls import path

from layflat.web.noting import views

app_name = "noting"
urlpatterns = [
    path("<int:pk>/corrections/", views.body, name="body"),
    path("corrections/<int:pk>/picture.svg", views.picture, name="picture"),
    path("corrections/<int:pk>/settle/", views.settle, name="settle"),
    path("<int:pk>/corrections-of/<str:piece>/", views.piece, name="piece"),
    path("<int:pk>/corrections-of/<str:piece>/make/", views.make, name="make"),
    path("<int:pk>/corrections-of/<str:piece>/back/", views.back, name="back"),
    path("<int:pk>/corrections-of/<str:piece>/ready/", views.ready, name="ready"),
]
