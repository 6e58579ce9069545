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
        indexes = (models.Index(fields=["kind", "at"], name="entry_kind_at"),)

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
