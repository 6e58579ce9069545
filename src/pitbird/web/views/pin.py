"""The PIN of a person on shared phones: set by themselves when signed in, or by the keeper."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from pitbird.fleet.state import PersonState
from pitbird.services import pins
from pitbird.services.knowing import Now
from pitbird.web.forms.phones import PinForm
from pitbird.web.names import Names
from pitbird.web.who import actor_of, roles_of


@sensitive_post_parameters()
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def pin(request: HttpRequest, code: str) -> HttpResponse:
    """Set a PIN; it lets nobody sign in, it says who holds a shared phone."""
    actor, subject = actor_of(request), f"person:{code}"
    if actor.person != subject and "keeper" not in roles_of(request):
        raise PermissionDenied("keeper")
    if not isinstance(Now().state(subject), PersonState):
        raise Http404(code)
    form = PinForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        pins.set_pin(subject, form.cleaned_data["pin"], by=actor.person)
        messages.success(request, _("The PIN is set. Each phone asks the server for it once."))
        return redirect("pin", code=code)
    context = {
        "here": "people",
        "code": code,
        "name": Names([subject])(subject),
        "mine": actor.person == subject,
        "since": pins.set_at().get(subject),
        "zone": actor.zone,
        "form": form,
    }
    return render(request, "pitbird/pin.html", context, status=422 if request.method == "POST" else 200)
