"""Every address is the web room's; this only mounts it."""

from django.urls import include, path

urlpatterns = [path("", include("pitbird.web.urls"))]

handler403 = "pitbird.web.views.errors.forbidden"
handler404 = "pitbird.web.views.errors.not_found"
handler500 = "pitbird.web.views.errors.broken"
