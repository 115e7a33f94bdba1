"""Where everything is. Apps are named by string, so that this package needs nothing of theirs."""

from django.urls import include, path

urlpatterns = [
    path("api/v1/", include("inspections.api.urls")),
    path("", include("inspections.web.urls")),
]

handler500 = "portfolio.middleware.server_error"
