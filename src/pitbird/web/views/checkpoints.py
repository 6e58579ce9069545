"""Checkpoints: those kept beside the book and who signed them, its key, and signing for other books."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from pitbird.record.leaf import read_leaf
from pitbird.record.note import VerifierKey
from pitbird.services import book_keys, checkpoints, clock, stamping, witnessing
from pitbird.services.checkpoints import CheckpointRefused, Kept
from pitbird.services.moving import BookEmpty
from pitbird.store import book
from pitbird.web.forms.checkpoints import BackForm, StampForm, WitnessForm
from pitbird.web.views.asked import zone_here
from pitbird.web.who import require_keeper, roles_of

PAGE: Final = 30
_DIGEST: Final = re.compile(r"[0-9a-f]{64}", re.ASCII)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def kept(request: HttpRequest) -> HttpResponse:
    """All that are kept, the newest first; what changes them is the keeper's to do."""
    if book.head().size == 0:
        raise Http404("no book")
    doing = request.POST.get("do", "") if request.method == "POST" else ""
    if request.method == "POST":
        require_keeper(request)
        if doing == "make":
            return _make(request)
    back = BackForm(*_given(request, doing == "back"), auto_id="f-back-%s")
    witness = WitnessForm(*_given(request, doing == "witness"), auto_id="f-witness-%s")
    if back.is_bound and back.is_valid() and (done := _take_back(request, back)):
        return done
    if witness.is_bound and witness.is_valid() and (done := _witness(request, witness)):
        return done
    stamp = StampForm(*_given(request, doing == "stamp"), auto_id="f-stamp-%s")
    if stamp.is_bound and stamp.is_valid() and (done := _take_stamp(request, stamp)):
        return done
    context = {**_context(request), "back": back, "witness": witness, "stamp": stamp}
    return render(
        request, "pitbird/checkpoints.html", context, status=422 if request.method == "POST" else 200
    )


def _given(request: HttpRequest, meant: bool) -> tuple[Any, Any]:
    return (request.POST, request.FILES) if meant else (None, None)


def home() -> Path:
    """The folder of the book."""
    return Path(settings.CONFIG.home)


def _make(request: HttpRequest) -> HttpResponse:
    before = {path.name for path in checkpoints.kept_paths(home())}
    try:
        made = checkpoints.make_checkpoint(home(), book_keys.given_passphrase())
    except (ValueError, OSError) as fault:  # the files beside the book may hold anything
        messages.error(request, str(fault))
    else:
        if made.path.name in before:
            messages.info(request, _("Nothing was added since the newest one."))
        else:
            said = ngettext("A checkpoint of %d entry.", "A checkpoint of %d entries.", made.checkpoint.size)
            messages.success(request, said % made.checkpoint.size)
    return redirect("checkpoints")


def _take_back(request: HttpRequest, form: BackForm) -> HttpResponse | None:
    data, witness = form.given()
    try:
        added = witnessing.take_back(data, home(), witness=witness)
    except ValueError as fault:
        form.put_fault(fault)
        return None
    for each in added:
        messages.success(request, _("The signature of %(name)s is kept.") % {"name": each.witness.name})
    if not added:
        messages.info(request, _("These signatures were kept already."))
    return redirect("checkpoints")


def _witness(request: HttpRequest, form: WitnessForm) -> HttpResponse | None:
    given = form.cleaned_data
    try:
        witnessing.cosign(
            given["checkpoint"],
            given["key"],
            home(),
            proof=given["proof"],
            changes=given["changes"],
            passphrase=book_keys.given_passphrase(),
        )
    except (ValueError, OSError) as fault:
        form.put_fault(fault)
        return None
    messages.success(
        request,
        _("The checkpoint of %(name)s is signed; give the file back to its keeper.")
        % {"name": given["key"].name},
    )
    return redirect("checkpoints")


def _take_stamp(request: HttpRequest, form: StampForm) -> HttpResponse | None:
    try:
        taken = stamping.take_stamp(form.cleaned_data["stamp"], form.cleaned_data["ca"], home())
    except (ValueError, OSError) as fault:
        form.put_fault(fault)
        return None
    if taken.new:
        said = _("The time stamp of %(name)s is kept.") % {"name": taken.authority}
        messages.success(request, said)
    else:
        messages.info(request, _("An earlier time stamp of this checkpoint was kept already."))
    return redirect("checkpoints")


def _context(request: HttpRequest) -> dict[str, Any]:
    paths = checkpoints.kept_paths(home())
    text = request.GET.get("before", "")
    before = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None
    listed = [path for path in paths if before is None or path.name < f"{before:019d}"]
    size, trouble = book.head().size, book_keys.why_none_is_signed(home(), book_keys.given_passphrase())
    try:
        keys = book_keys.book_keys(home())
        rows = [_row(path, keys) for path in listed[:PAGE]]
    except (ValueError, OSError) as fault:
        keys, rows = (), []
        trouble = trouble or (str(fault) if paths else "")
    newest = rows[0] if rows and before is None else None
    return {
        "here": "checkpoints",
        "keeper": "keeper" in roles_of(request),
        "zone": zone_here(request),
        "now": clock.now(),
        "count": len(paths),
        "size": size,
        "grew": size - int(paths[0].name[:19]) if paths else size,
        "rows": rows,
        "newest": newest,
        "vouched": _vouched(rows, size) if newest else None,
        "paged": before is not None,
        "earlier": int(listed[PAGE - 1].name[:19]) if len(listed) > PAGE else None,
        "trouble": trouble,
        "key": _key(keys) if keys else None,
        "witnessed": _witnessed(),
        "can_stamp": stamping.can_read_stamps(),
        **({"text": _letter(newest["kept"], keys[-1])} if newest and newest["kept"] else {}),
    }


def _vouched(rows: list[dict[str, Any]], size: int) -> dict[str, Any] | None:
    """The newest that somebody else signed or stamped, with how much was added since."""
    for row in rows:
        if row["signed"] or row.get("stamp"):
            return {**row, "since": size - row["size"]}
    return None


def _row(path: Path, keys: tuple[VerifierKey, ...]) -> dict[str, Any]:
    row: dict[str, Any] = {"size": int(path.name[:19]), "kept": None, "signed": (), "fault": ""}
    try:
        found = checkpoints.read_kept(path, keys)
        row |= {
            "kept": found,
            "made_at": found.made_at,
            "root": found.checkpoint.root.hex(),
            "signed": witnessing.signed_by(path, home()),
            **_stamp(path),
        }
    except (ValueError, OSError) as fault:
        row["fault"] = str(fault)
    return row


def _stamp(path: Path) -> dict[str, Any]:
    try:
        return {"stamp": stamping.stamp_of(path), "stamp_fault": ""}
    except stamping.NoStampReader:
        return {"stamp": None, "stamp_fault": _("there is one; what would read it is not installed here")}
    except stamping.StampRefused as fault:
        return {"stamp": None, "stamp_fault": str(fault)}


def _key(keys: tuple[VerifierKey, ...]) -> dict[str, Any]:
    words = book_keys.key_words(bytes.fromhex(book_keys.hex_of(keys[-1])))
    return {
        "text": keys[-1].text(),
        "witness": book_keys.public_key(home(), witness=True).text(),
        "fingerprint": keys[-1].fingerprint(),
        "words": [" ".join(words[at : at + 6]) for at in range(0, len(words), 6)],
        "earlier": [(number, each.fingerprint()) for number, each in enumerate(keys[:-1], start=1)],
    }


def _witnessed() -> list[dict[str, Any]]:
    return [
        {"origin": each.origin, "size": each.size, "at": each.at, "digest": each.digest}
        for each in witnessing.witnessed(home())
    ]


def _letter(found: Kept, key: VerifierKey) -> str:
    """What goes into a mail with the checkpoint: what it is, and what to do with it."""
    first = book.at_index(0)
    title = str(read_leaf(first.leaf.encode()).body["title"]) if first else ""
    size, root = found.checkpoint.size, found.checkpoint.root.hex()
    words = book_keys.key_words(bytes.fromhex(book_keys.hex_of(key)))
    told = _(
        "The attached file is a checkpoint of the record book “%(title)s”: %(size)d entries, drawn together "
        "into one number. Whoever changes, removes or slips in one of them afterwards gets another number.\n"
        "\n"
        "Please keep this mail and the file where the keeper of the book cannot change them. There is "
        "nothing else that you must do, and nothing in it names anybody.\n"
        "\n"
        "If the book is ever in doubt, ask its keeper for an audit bundle “since the checkpoint of %(size)d "
        "entries”. What checks it is inside the bundle; it asks for the fingerprint and the file that you "
        "keep.\n"
        "\n"
        "If you keep such a book yourself, you can sign as a witness: on the page Checkpoints of your book, "
        "with the file and the key below. Then send back the file that you get."
    ) % {"title": title, "size": size}
    lines = [
        told, "", _("Entries: %d") % size, _("Root: %s") % root, "", _("Key of the book:"), key.text(), "",
        _("Its fingerprint, which its keeper can read out to you by telephone:"), *_halves(key.fingerprint()),
        _("The same in words (an aid for reading aloud, no secret):"),
        *(" ".join(words[at : at + 6]) for at in range(0, len(words), 6)),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _halves(fingerprint: str) -> list[str]:
    groups = fingerprint.split(" ")
    return [" ".join(groups[at : at + 8]) for at in range(0, len(groups), 8)]


@require_safe
def note(request: HttpRequest, size: int) -> HttpResponse:
    """A checkpoint as a file, with all signatures under it."""
    return _file(_kept(size).path, f"checkpoint-{size}.note")


@require_safe
def census(request: HttpRequest, size: int) -> HttpResponse:
    """The census that belongs to a checkpoint."""
    return _file(_kept(size).census_path, f"checkpoint-{size}.census.json", "application/json")


@require_safe
def proof(request: HttpRequest, size: int) -> HttpResponse:
    """The proof that the newest checkpoint goes on from an earlier one."""
    newest = checkpoints.kept(home())
    if newest is None or size > newest.checkpoint.size:
        raise Http404(str(size))
    _kept(size)
    data = checkpoints.proof_file(size, newest.checkpoint.size)
    return _sent(data, f"proof-{size}-{newest.checkpoint.size}.json", "application/json")


@require_safe
def stamp_request(request: HttpRequest, size: int) -> HttpResponse:
    """What to ask a time-stamp authority for a checkpoint."""
    _kept(size)
    try:
        data = stamping.stamp_request(home(), size)
    except stamping.NoStampReader as none:
        raise Http404(str(none)) from None
    return _sent(data, f"checkpoint-{size}.tsq", "application/timestamp-query")


@require_safe
def stamp(request: HttpRequest, size: int) -> HttpResponse:
    """The time stamp that is kept of a checkpoint, as it came."""
    path = _kept(size).path.with_suffix(".tsr")
    return _file(path, f"checkpoint-{size}.tsr", "application/timestamp-reply")


@require_safe
def key(request: HttpRequest) -> HttpResponse:
    """The key of the book: one line."""
    try:
        return _sent(f"{book_keys.public_key(home()).text()}\n".encode(), "book-key.pub")
    except CheckpointRefused as none:
        raise Http404(str(none)) from None


@require_safe
def change(request: HttpRequest, number: int) -> HttpResponse:
    """The note of a change of the key."""
    try:
        return _file(book_keys.changes_folder(home()) / f"{number:04d}.note", f"{number:04d}.note")
    except BookEmpty:
        raise Http404("no book") from None


@require_safe
def seen(request: HttpRequest, digest: str) -> HttpResponse:
    """The newest checkpoint of another book, with this book's signature under it."""
    require_keeper(request)
    if not _DIGEST.fullmatch(digest):
        raise Http404(digest)
    return _file(home() / "witnessed" / f"{digest}.note", "signed.note")


def _kept(size: int) -> Kept:
    try:
        return checkpoints.kept_at(home(), size)
    except (ValueError, OSError) as none:
        raise Http404(str(none)) from None


def _file(path: Path, name: str, sort: str = "text/plain; charset=utf-8") -> HttpResponse:
    try:
        return _sent(path.read_bytes(), name, sort)
    except OSError:
        raise Http404(name) from None


def _sent(data: bytes, name: str, sort: str = "text/plain; charset=utf-8") -> HttpResponse:
    answer = HttpResponse(data, content_type=sort)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
