"""Whether this is alive. No facts: anybody may ask."""

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe


@login_not_required
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """``ok`` while the database answers, else 503."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except DatabaseError:
        return HttpResponse("no database\n", status=503, content_type="text/plain")
    response = HttpResponse("ok\n", content_type="text/plain")
    response["Cache-Control"] = "no-store"
    return response
