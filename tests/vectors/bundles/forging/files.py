"""The list of files, the files, and the keys."""

from __future__ import annotations

from tests.vectors.bundles.book import (
    FIRST,
    FORMER,
    KEEPER,
    ORIGIN,
    OTHER,
    Files,
    Key,
    b64,
    change_of_key,
    listed,
    manifest_text,
    note,
    small_book,
    unsigned,
)
from tests.vectors.bundles.forging.gathering import (
    BROKEN,
    D1,
    HEAD,
    LIST,
    REFUSED,
    Cases,
    changed,
)


def manifests(to: Cases) -> None:
    one = unsigned(small_book(), {D1: 1})
    text = manifest_text(one)
    rows = text.splitlines(keepends=True)

    def refused(name: str, what: str, data: bytes) -> None:
        to.case(f"manifest-{name}", what, {LIST: data, **one}, REFUSED, ("manifest", LIST, None))

    refused(
        "unsorted",
        "two lines in the wrong order",
        note("".join([*rows[:2], rows[3], rows[2], *rows[4:]]), KEEPER),
    )
    refused("twice", "a line that stands twice", note("".join([*rows[:3], rows[2], *rows[3:]]), KEEPER))
    refused(
        "itself", "it lists itself", note("".join([*rows[:2], f"{'0' * 64} 9 {LIST}\n", *rows[2:]]), KEEPER)
    )
    refused("zeros", "a size with a zero before it", note(text.replace(" 50 README", " 050 README"), KEEPER))
    refused("upper", "a hash in capitals", note("".join([*rows[:2], rows[2].upper(), *rows[3:]]), KEEPER))
    refused("format", "another format", note(text.replace("bundle/1", "bundle/2"), KEEPER))
    refused("spaces", "two spaces", note(text.replace(" key.txt", "  key.txt"), KEEPER))
    refused("name", "a name that is not allowed", note(text.replace("README", "../README"), KEEPER))
    refused("origin-none", "no origin", note(text.replace(ORIGIN, ""), KEEPER))
    refused(
        "origin-delete",
        "a control character in the origin",
        note(text.replace(ORIGIN, ORIGIN + "\x7f"), KEEPER),
    )
    refused("rows-one", "nothing but its form", note(rows[0], KEEPER))
    refused("size", "a size in words", note(text.replace(" 50 README", " fifty README"), KEEPER))
    refused("gap", "an empty line", note(text.replace(rows[3], rows[3] + "\n"), KEEPER))
    good = listed(one)[LIST]
    refused("two", "two notes, one behind the other", note(good.decode() + "\n" + text, KEEPER))
    refused("cut", "cut off in its signature", good[:-9])
    refused("no-end", "without its last line feed", good[:-1])
    refused("bare", "without a signature", text.encode())
    refused("control", "carriage returns", good.replace(b"\n", b"\r\n"))
    refused("utf-8", "bytes that are not UTF-8", good.replace(b"README", b"READM\xff"))
    refused("empty", "an empty file", b"")
    for name, what, data in (
        ("other-key", "signed by somebody else under the keeper's name", note(text, OTHER)),
        ("witness", "signed by a witness only", note(text, Key("keeper", ORIGIN, 4))),
        ("forged", "a signature of zeros", (text + f"\n— {ORIGIN} {b64(KEEPER.id + bytes(64))}\n").encode()),
        ("signed-twice", "signed twice with the same key", note(text, KEEPER, KEEPER)),
    ):
        to.case(f"manifest-{name}", what, {LIST: data, **one}, BROKEN, ("manifest-signature", LIST, None))
    origin = {LIST: note(manifest_text(one, "book.example/other"), KEEPER), **one}
    to.case(
        "manifest-origin",
        "the manifest of another book",
        origin,
        BROKEN,
        ("manifest-signature", LIST, None),
        ("checkpoint", HEAD, None),
        may="checkpoint-signature tree census incomplete scope",
    )
    files(to, one)


def files(to: Cases, one: Files) -> None:
    good = listed(one)
    to.case(
        "file-unlisted",
        "a file that the manifest does not list",
        {**good, "papers/more.txt": b"More.\n"},
        BROKEN,
        ("unlisted", "papers/more.txt", None),
    )
    to.case(
        "file-absent",
        "a paper that is not there",
        changed(good, papers___certificate__txt=None),
        BROKEN,
        ("absent", "papers/certificate.txt", None),
    )
    to.case(
        "file-changed",
        "a paper that was changed",
        changed(good, papers___certificate__txt=good["papers/certificate.txt"].replace(b"D-02", b"D-03")),
        BROKEN,
        ("file", "papers/certificate.txt", None),
    )
    to.case(
        "file-longer",
        "a paper with a line more",
        changed(good, README__txt=good["README.txt"] + b"\n"),
        BROKEN,
        ("file", "README.txt", None),
    )
    for name in ("census.json", "checkpoint.note", "entries.jsonl", "key.txt", "scope.json", "tree.txt"):
        left = {other: data for other, data in one.items() if other != name}
        to.case(
            f"missing-{name.replace('.', '-')}",
            "a file that must be there is not",
            listed(left),
            REFUSED,
            ("missing", name, None),
        )
        if name == "key.txt":
            unlisted = {LIST: note(manifest_text(left), KEEPER), **one}
            to.case(
                "file-unlisted-key",
                "the manifest does not list the key",
                unlisted,
                BROKEN,
                ("unlisted", name, None),
            )
    to.case("missing-manifest", "no manifest", one, REFUSED, ("missing", LIST, None))
    for short, name in (
        ("up", "../evil.txt"),
        ("inner-up", "papers/../evil.txt"),
        ("dot", "./evil.txt"),
        ("absolute", "/evil.txt"),
        ("drive", "C:/evil.txt"),
        ("backslash", "papers\\evil.txt"),
        ("double", "papers//evil.txt"),
        ("folder", "papers/"),
        ("umlaut", "pap\u00fcrs.txt"),
        ("space", "a paper.txt"),
        ("nul", "evil.txt\0"),
    ):
        to.case(
            f"name-{short}", f"the name {name!a}", {**good, name: b"evil\n"}, REFUSED, ("name", name, None)
        )
    to.case("name-empty", "a file without a name", {**good, "": b"evil\n"}, REFUSED, ("name", "", None))
    keys(to, one)


def keys(to: Cases, one: Files) -> None:
    line = KEEPER.line
    for short, what, text in (
        ("witness", "a key of a witness", Key("keeper", ORIGIN, 4).line + "\n"),
        ("id", "an id that is not the key's", line.replace(KEEPER.id.hex(), "00000000") + "\n"),
        ("two", "two lines", f"{line}\n{OTHER.line}\n"),
        ("cut", "cut off", line[:-4] + "\n"),
        ("no-end", "without its line feed", line),
        ("space", "a space in place of the line feed", f"{line} "),
        ("name", "a name with a space in it", Key("keeper", "book example").line + "\n"),
        ("name-none", "a key without a name", Key("keeper", "").line + "\n"),
        ("name-plus", "a name with a plus sign in it", Key("keeper", "book+example").line + "\n"),
        ("junk", "no key", "the key is with the keeper\n"),
        ("empty", "an empty file", ""),
    ):
        to.case(
            f"key-{short}",
            what,
            listed(changed(one, key__txt=text.encode())),
            REFUSED,
            ("key", "key.txt", None),
        )
    for short, text in (("short", KEEPER.fingerprint[:-1]), ("letters", "g" * 64), ("empty", "")):
        to.case(
            f"fingerprint-{short}",
            "a fingerprint that is none",
            listed(one),
            REFUSED,
            ("key", "key.txt", None),
            fingerprint=text,
        )
    to.case(
        "fingerprint-former",
        "an earlier key's fingerprint, and nothing leads on from it",
        listed(one),
        BROKEN,
        ("key", "key.txt", None),
        fingerprint=FORMER.fingerprint,
    )
    first, second = change_of_key(1, FIRST, FORMER), change_of_key(2, FORMER, KEEPER)
    named = Key("keeper", "book.example/other")

    def chain(name: str, what: str, place: str, **notes: bytes) -> None:
        made = {**one, **{f"keys/{number.replace('_', '')}.note": data for number, data in notes.items()}}
        to.case(
            f"keys-{name}",
            what,
            listed(made),
            BROKEN,
            ("keys", place, None),
            fingerprint=FIRST.fingerprint,
            may="key keys",
        )

    chain(
        "gap",
        "the change in the middle is missing",
        "keys/0003.note",
        _0001=first,
        _0003=change_of_key(3, OTHER, KEEPER),
    )
    chain("late", "the first change is missing", "keys/0002.note", _0002=second)
    chain(
        "fork",
        "two changes go out from one key",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FIRST, KEEPER),
    )
    chain(
        "elsewhere",
        "the last change leads to another key",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, OTHER),
    )
    chain(
        "origin",
        "a change of the key of another book",
        "keys/0001.note",
        _0001=change_of_key(1, FIRST, FORMER, origin="book.example/other"),
        _0002=second,
    )
    chain(
        "name",
        "a change to a key of another name",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, named),
    )
    chain(
        "unsigned-old",
        "a change that the old key did not sign",
        "keys/0001.note",
        _0001=change_of_key(1, FIRST, FORMER, signers=(FORMER,)),
        _0002=second,
    )
    chain(
        "unsigned-new",
        "a change that the new key did not sign",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, KEEPER, signers=(FORMER, OTHER)),
    )
    chain(
        "number",
        "a change with another number than its file",
        "keys/0001.note",
        _0001=change_of_key(2, FIRST, FORMER),
        _0002=second,
    )
    chain(
        "witness",
        "a change to a key of a witness",
        "keys/0002.note",
        _0001=first,
        _0002=change_of_key(2, FORMER, Key("keeper", ORIGIN, 4)),
    )
    chain("junk", "a file that is no note", "keys/0001.note", _0001=b"?", _0002=second)
    chain(
        "other-name",
        "a file of another name in the folder",
        "keys/extra.note",
        _0001=first,
        _0002=second,
        _extra=second,
    )
    made = {**one, "keys/1.note": first}
    to.case(
        "keys-unpadded",
        "a change in a file of another name",
        listed(made),
        BROKEN,
        ("keys", "keys/1.note", None),
        may="key",
    )
    chain(
        "name-old",
        "a change from a key of another name",
        "keys/0001.note",
        _0001=change_of_key(1, Key("the key before that", "book.example/other"), FORMER),
        _0002=second,
    )
    rows = ["pitbird-key/1", ORIGIN, "1", FIRST.line, FORMER.line, "more"]
    chain(
        "more",
        "a change with a line too many",
        "keys/0001.note",
        _0001=note("".join(f"{row}\n" for row in rows), FIRST, FORMER),
        _0002=second,
    )
    chain(
        "form",
        "a change of another form",
        "keys/0001.note",
        _0001=note("".join(f"{row}\n" for row in ["pitbird-key/2", *rows[1:5]]), FIRST, FORMER),
        _0002=second,
    )
    made = {**one, "keys/0001.note": first, "keys/0002.note": second}
    to.case(
        "keys-other",
        "a chain that does not come from the auditor's key",
        listed(made),
        BROKEN,
        ("key", "key.txt", None),
        fingerprint=OTHER.fingerprint,
    )
