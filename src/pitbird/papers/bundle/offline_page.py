"""The page that checks a bundle in an auditor's browser: one file, nothing fetched, no network."""

from functools import lru_cache
from importlib.resources import files


@lru_cache(maxsize=1)
def offline_page() -> bytes:
    """The whole page in UTF-8, with its style and scripts put into their places; the same bytes each time."""
    parts = files(__package__) / "page"
    page, style, checks, script = (
        (parts / name).read_text("utf-8") for name in ("page.html", "page.css", "checks.js", "page.js")
    )
    for mark, text in (("/*STYLE*/\n", style), ("/*SCRIPT*/\n", f"{checks}\n{script}")):
        page = page.replace(mark, text)
    return page.encode("utf-8")
