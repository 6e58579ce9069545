"""Tables. ``Entry`` and ``Mention`` are the book and refuse change; the rest is folded or beside it."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class Entry(models.Model):
    """One entry: its leaf as canonical text, and a few columns of it to search by."""

    index = models.BigAutoField(primary_key=True)
    entry_id = models.CharField(max_length=36, unique=True)
    kind = models.CharField(max_length=48)
    at = models.BigIntegerField()
    recorded_at = models.BigIntegerField()
    by = models.CharField(max_length=80)
    site = models.CharField(max_length=80, null=True)  # noqa: DJ001 (no site is not an empty site)
    leaf = models.TextField()
    leaf_hash = models.BinaryField(max_length=32)

    class Meta:
        indexes = (
            models.Index(fields=["kind", "at"], name="entry_kind_at"),
            models.Index(fields=["by", "at"], condition=models.Q(kind="bump-test"), name="entry_tester_at"),
            # Dated more than two minutes after it was recorded: hardly any.
            models.Index(
                fields=["at"],
                condition=models.Q(at__gt=models.F("recorded_at") + 120_000),
                name="entry_dated_ahead",
            ),
        )

    def __str__(self) -> str:
        return f"{self.index} {self.kind} {self.entry_id}"


class Mention(models.Model):
    """That an entry is the nth about a subject. The entry's own time stands here too, and whether it is a
    correction, so that what happened to a subject since an instant is found by an index."""

    pk = models.CompositePrimaryKey("subject", "nth")
    subject = models.CharField(max_length=80)
    nth = models.BigIntegerField()
    index = models.BigIntegerField()
    at = models.BigIntegerField()
    correction = models.BooleanField()

    class Meta:
        indexes = (
            models.Index(fields=["subject", "at"], name="mention_subject_at"),
            models.Index(fields=["subject"], condition=models.Q(correction=True), name="mention_corrections"),
        )

    def __str__(self) -> str:
        return f"{self.subject} {self.nth} -> {self.index}"


class Head(models.Model):
    """The book's size and the Merkle frontier; one row. Locking it is what makes one writer at a time."""

    size = models.BigIntegerField()
    frontier = models.BinaryField()

    def __str__(self) -> str:
        return f"head at {self.size}"


class Standing(models.Model):
    """The folded state of a subject; can be thrown away and folded anew from the book. ``digest`` is SHA-256
    over ``state``: by it a process knows whether the state that it has in memory is still the one."""

    subject = models.CharField(max_length=80, primary_key=True)
    sort = models.CharField(max_length=16)
    site = models.CharField(max_length=80, null=True)  # noqa: DJ001 (no site is not an empty site)
    count = models.BigIntegerField()
    state = models.TextField()
    digest = models.BinaryField(max_length=32)

    class Meta:
        indexes = (
            models.Index(fields=["sort", "site", "subject", "digest"], name="standing_sort_site_digest"),
        )

    def __str__(self) -> str:
        return f"{self.subject} ({self.count})"


class FoldPoint(models.Model):
    """The state of a subject after everything that happened to it by an instant: where folding can take up
    again when something arrives late. Can be thrown away; a point is, when something older arrives."""

    pk = models.CompositePrimaryKey("subject", "at")
    subject = models.CharField(max_length=80)
    at = models.BigIntegerField()
    state = models.TextField()

    def __str__(self) -> str:
        return f"{self.subject} at {self.at}"


class Subtree(models.Model):
    """The root of a full sub-tree of the book's tree: 2^level leaves, ``place`` others of its level before.
    Kept of some levels, so that a proof need not read every leaf; can be thrown away and worked out anew."""

    pk = models.CompositePrimaryKey("level", "place")
    level = models.SmallIntegerField()
    place = models.BigIntegerField()
    root = models.BinaryField(max_length=32)

    def __str__(self) -> str:
        return f"sub-tree {self.place} of level {self.level}"


class Blob(models.Model):
    """A name, free text or photo, kept outside the leaf with the salt that opens its commitment."""

    commitment = models.CharField(max_length=71, primary_key=True)
    salt = models.BinaryField()
    media_type = models.CharField(max_length=40)
    content = models.BinaryField()

    def __str__(self) -> str:
        return self.commitment


class Login(models.Model):
    """Which person in the book a signed-in account is."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="login")
    person = models.CharField(max_length=80)
    site = models.CharField(max_length=80, blank=True)

    def __str__(self) -> str:
        return self.person


class Seen(models.Model):
    """That somebody looked at what names people. Beside the book, never in its export; ``person`` is a code,
    ``account`` the number of the account (0 for the terminal): no name stands here."""

    at = models.BigIntegerField(db_index=True)
    account = models.BigIntegerField()
    person = models.CharField(max_length=80, blank=True)
    what = models.CharField(max_length=16)
    about = models.CharField(max_length=80, blank=True)

    def __str__(self) -> str:
        return f"{self.person or self.account} saw {self.what} {self.about} at {self.at}"


class Pairing(models.Model):
    """A link by which one phone is registered, once and until a time: SHA-256 of its secret, and what the
    phone is to be called. Beside the book; the registration itself is an entry."""

    digest = models.CharField(max_length=64, primary_key=True)
    device = models.CharField(max_length=80)
    label = models.CharField(max_length=120, blank=True)
    site = models.CharField(max_length=80)
    by = models.CharField(max_length=80)
    until = models.BigIntegerField()
    used = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"pairing of {self.device}"


class PhoneToken(models.Model):
    """SHA-256 of the cookie by which a registered phone is let in without anybody signing in."""

    digest = models.CharField(max_length=64, primary_key=True)
    device = models.CharField(max_length=80, db_index=True)

    def __str__(self) -> str:
        return f"cookie of {self.device}"


class KnownOn(models.Model):
    """That a person was known on a phone, by PIN or account, when the server last checked it there; and how
    many wrong PINs came from the phone since."""

    pk = models.CompositePrimaryKey("device", "person")
    device = models.CharField(max_length=80)
    person = models.CharField(max_length=80)
    how = models.CharField(max_length=8, blank=True)
    at = models.BigIntegerField(default=0)
    wrong = models.SmallIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.person} on {self.device}"


class Pin(models.Model):
    """The slow hash of a person's PIN, and when it was set by whom. It never leaves the server."""

    person = models.CharField(max_length=80, primary_key=True)
    hashed = models.CharField(max_length=255)
    set_at = models.BigIntegerField()
    set_by = models.CharField(max_length=80)

    def __str__(self) -> str:
        return f"PIN of {self.person}"


class Waiting(models.Model):
    """Something that a phone sent and that cannot be written, word for word (``content``), with why, and what
    became of it. Beside the book; nothing is ever taken out of this table."""

    number = models.BigAutoField(primary_key=True)
    digest = models.CharField(max_length=64, unique=True)
    content = models.TextField()
    entry_id = models.CharField(max_length=36, blank=True, db_index=True)
    kind = models.CharField(max_length=48, blank=True)
    detector = models.CharField(max_length=80, blank=True, db_index=True)
    device = models.CharField(max_length=80, blank=True)
    person = models.CharField(max_length=80, blank=True)
    came_at = models.BigIntegerField()
    sent_by = models.CharField(max_length=80, blank=True)
    why = models.CharField(max_length=200)
    faults = models.TextField()
    withdrawn_by = models.CharField(max_length=36, blank=True)
    state = models.CharField(max_length=12, default="waiting", db_index=True)
    settled_at = models.BigIntegerField(null=True)
    settled_by = models.CharField(max_length=80, blank=True)
    reason = models.TextField(blank=True)
    index = models.BigIntegerField(null=True)

    def __str__(self) -> str:
        return f"{self.number} {self.kind} {self.state}"
