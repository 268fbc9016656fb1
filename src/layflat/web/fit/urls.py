"""Addresses of this part."""

from django.urls import path

from layflat.web.fit import shown_files, views

app_name = "fit"
_FIT = "<str:number>/cover/<int:cover>/fit/"
_OF = f"{_FIT}of/<int:outcome>/"
urlpatterns = [
    path(_FIT, views.fit, name="fit"),
    path(f"{_FIT}ready/", views.ready, name="ready"),
    path(f"{_FIT}<int:piece>/", views.piece, name="piece"),
    path(f"{_FIT}<int:piece>/two/", views.two, name="two"),
    path(f"{_FIT}<int:piece>/two/ready/", views.two_ready, name="two-ready"),
    path(f"{_OF}vehicle.glb", shown_files.vehicle, name="vehicle"),
    path(f"{_OF}vehicle.json", shown_files.lines, name="lines"),
    path(f"{_OF}vehicle.png", shown_files.picture, name="picture"),
    path(f"{_OF}<int:piece>/surface.glb", shown_files.surface, name="surface"),
    path(f"{_OF}<int:piece>/flat.json", shown_files.flat, name="flat"),
    path(f"{_OF}<int:piece>/map.svg", shown_files.strain_map, name="map"),
    path(f"{_OF}<int:piece>/plan.svg", shown_files.plan, name="plan"),
]
