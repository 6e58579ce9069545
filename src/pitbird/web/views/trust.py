"""How a phone comes to trust the trial authority: its certificate to take, and what to compare."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from pitbird.services import trial_authority


@login_not_required
@never_cache
@require_safe
def trust(request: HttpRequest) -> HttpResponse:
    """In plain words; 404 where no trial authority was made."""
    found = trial_authority.found(settings.CONFIG.home)
    if found is None:
        raise Http404(_("No trial authority was made here."))
    context = {"fingerprint": found.fingerprint, "until": found.until.date().isoformat()}
    return render(request, "pitbird/trust.html", context)


@login_not_required
@never_cache
@require_safe
def authority(request: HttpRequest) -> HttpResponse:
    """The authority's certificate, as phones take it."""
    data = trial_authority.authority_der(settings.CONFIG.home)
    if data is None:
        raise Http404(_("No trial authority was made here."))
    response = HttpResponse(data, content_type="application/x-x509-ca-cert")
    response["Content-Disposition"] = 'attachment; filename="pitbird-trial-authority.crt"'
    return response
