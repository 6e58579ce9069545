"""Whether the one who looks may erase a text of an entry, and whether there is one."""

from __future__ import annotations

from typing import Any

from django import template

from pitbird.services.erasing import sealed_of
from pitbird.store import book
from pitbird.web.who import roles_of

register = template.Library()


@register.simple_tag(takes_context=True)
def may_erase(context: dict[str, Any], index: int) -> bool:
    """A keeper looks at an entry that still holds a name, text or photo."""
    if "keeper" not in roles_of(context["request"]):
        return False
    row = book.at_index(index)
    return row is not None and bool(sealed_of([row]))
