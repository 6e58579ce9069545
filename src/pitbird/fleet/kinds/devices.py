"""Entries about the phones that entries are written on: registered with their public key, and ended."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Final, Literal, Self

from pydantic import Field, model_validator

from pitbird.fleet.kinds.base import PUBLIC_KEY, Body, DeviceRef, Sealed, SiteRef, common

#: Characters of a public key in base64url without padding: 65 bytes of a point on P-256, 32 of Ed25519.
KEY_LENGTHS: Final = {"ES256": 87, "Ed25519": 43}


class Device(Body):
    """A phone was registered: what it signs with this key is taken as written on it.

    ``key`` is the public key in the form of a signature's ``key``. One code has one key for good; a phone
    with another key is another device. It changes no verdict.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("label",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "device",
        **common(35),
        "device": "device:PH-01",
        "alg": "Ed25519",
        "key": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
        "label": "sha256:" + "ab" * 32,
        "site": "site:north-works",
    }
    kind: Literal["device"] = "device"
    device: DeviceRef
    alg: Literal["ES256", "Ed25519"]
    key: Annotated[str, Field(pattern=PUBLIC_KEY)]
    label: Sealed | None = None
    site: SiteRef

    def subjects(self) -> tuple[str, ...]:
        return (self.device,)

    @model_validator(mode="after")
    def _key_is_as_long_as_its_kind(self) -> Self:
        if len(self.key) != KEY_LENGTHS[self.alg]:
            raise ValueError(f"a key for {self.alg} has {KEY_LENGTHS[self.alg]} characters of base64url")
        return self


class DeviceEnded(Body):
    """A phone's registration ended: what it sends from here on waits for the keeper."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "device-ended",
        **common(36),
        "device": "device:PH-01",
        "because": "lost",
    }
    kind: Literal["device-ended"] = "device-ended"
    device: DeviceRef
    because: Literal["lost", "stolen", "given-up", "other"]
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.device,)
