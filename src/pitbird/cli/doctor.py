"""``pitbird doctor``: whether the book is guarded, whole and folded right. It reads only."""

from __future__ import annotations

import typer


def command(
    put_guards_back: bool = typer.Option(
        False, "--put-guards-back", help="First put the triggers back by which the database refuses change."
    ),
) -> None:
    """Look whether the book is guarded, whole and folded right. Exit status 1 if something is wrong.

    It only reads, unless --put-guards-back is given.
    """
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import NEGATIVE

    make_ready_with_book()
    if put_guards_back:
        from pitbird.store.guards import put_back

        put_back()
    typer.echo(f"The book in {home()}")
    wrong = False
    for what, complaint in _checks():
        typer.echo(f"  {'WRONG' if complaint else 'right'}  {what}{f': {complaint}' if complaint else ''}")
        wrong = wrong or bool(complaint)
    typer.echo(
        "Something is wrong; keep a copy of the folder before you mend it."
        if wrong
        else "Nothing wrong found."
    )
    if wrong:
        raise typer.Exit(NEGATIVE)


def _checks() -> list[tuple[str, str]]:
    from django.db import connection

    from pitbird.store.guards import missing

    gone = missing(connection)
    guards = (
        f"{', '.join(gone)} missing; whoever removed them could change the book: compare with an export or a "
        "checkpoint that somebody else holds, then run `pitbird doctor --put-guards-back`"
        if gone
        else ""
    )
    return [
        ("the database refuses to change or remove entries", guards),
        ("every commit reaches the disk", _durable()),
        *_book_checks(),
    ]


def _durable() -> str:
    from django.db import connection

    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA synchronous")
            level = cursor.fetchone()[0]
            return (
                ""
                if level in (2, 3)
                else f"PRAGMA synchronous is {level}, not 2 (FULL); take your own settings out"
            )
        cursor.execute("SHOW fsync")
        fsync = cursor.fetchone()[0]
        cursor.execute("SHOW synchronous_commit")
        commit = cursor.fetchone()[0]
    faults = [
        f"{name} is off"
        for name, value in (("fsync", fsync), ("synchronous_commit", commit))
        if value == "off"
    ]
    return f"{' and '.join(faults)} in PostgreSQL; switch it on" if faults else ""


def _book_checks() -> list[tuple[str, str]]:
    """Tree, ids and folded states against the entries, in one reading of the book."""
    from django.db import transaction

    from pitbird.record.errors import RecordError
    from pitbird.record.leaf import read_leaf
    from pitbird.record.merkle import Frontier
    from pitbird.services.knowing import Now, Then
    from pitbird.store import book

    tree, broken, expected = Frontier(0, ()), [], 0
    with transaction.atomic():
        head = book.head()
        for row in book.all_rows():
            if row.index != expected:
                broken.append(f"entry {expected} is missing")
            expected = row.index + 1
            try:
                leaf = read_leaf(row.leaf.encode())
            except RecordError as fault:
                broken.append(f"entry {row.index}: {fault.what}")
                continue
            if leaf.hash != row.leaf_hash or leaf.body["id"] != row.entry_id:
                broken.append(f"entry {row.index} is not what its hash says")
            tree = tree.append(leaf.hash)
        subjects = sorted(book.census())
        stored = Now().some(subjects)
        anew = Then(below=head.size)  # from all entries, none of it from what was folded before
        differ = [subject for subject in subjects if stored.get(subject) != anew.state(subject)]
    if not broken and tree != head:
        broken.append(
            f"the head counts {head.size} entries and has another root than the {tree.size} entries"
        )
    changed = (
        f"{'; '.join(broken[:3])}; the book was changed or damaged: do not rely on it, compare it with an"
        " export or a checkpoint that somebody else holds, and restore a copy"
    )
    refolded = f"{len(differ)} differ, first {', '.join(differ[:3])}; run `pitbird book rebuild`"
    return [
        (f"the {expected} entries make the root that the head holds", changed if broken else ""),
        (f"the {len(subjects)} states are what the entries amount to", refolded if differ else ""),
    ]
