"""How a vault stands in its file: JSON in one spelling only, so that no byte can be changed without it being another file.

The names of the secrets stand in the clear. The job document beside the vault names users, equipment and paths anyway; a list and a trail
that can be read without the passphrase are worth more than hiding the names a second time. So a name must be a name: one that
begins with a digit is refused, because it is likely the code itself. What stands there binds all the same: each secret is
sealed to its name and to the salt of its file, and one more seal covers everything, the names and the cost of the key included.
"""

from __future__ import annotations

import base64
import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from loopwright.store.file import StoreError
from loopwright.store.seal import ARGON2_VERSION, NONCE_BYTES, SALT_BYTES, Broken, Cost, Keys
from loopwright.store.secret import Draw, Secret, same

FORMAT = 1
ABOUT = "A Loopwright vault: the secrets of the job beside it. Only `loopwright vault` and its passphrase open it."
# Another format or another cipher is refused by its spelling; a second one will be read by its own reader.
KDF, CIPHER, WHOLE = "argon2id", "aes-256-gcm", "hmac-sha-256"
MOST_BYTES = 4_000_000
MOST_ENTRIES = 2000
LONGEST_NAME = 64
LONGEST_SECRET = 4096
_NAME = re.compile(r"[^\W\d_][\w.-]*(/[\w.-]+)*")


class NotAVault(StoreError):
    """The file is no vault, or is damaged so that it cannot be read as one."""


class Box(NamedTuple):
    """One sealed secret."""

    nonce: bytes
    sealed: bytes


@dataclass(frozen=True, kw_only=True, slots=True)
class Form:
    """What stands in a vault's file, apart from the seal over the whole. ``written`` counts how often it was."""

    salt: bytes
    cost: Cost
    written: int
    boxes: Mapping[str, Box]


def good_name(name: str) -> str:
    """Return the name in one spelling. Raises StoreError, which does not repeat it: it may be a secret in the wrong place.

    >>> good_name("user/2")
    'user/2'
    """
    spelled = unicodedata.normalize("NFC", name)
    if len(spelled) > LONGEST_NAME or not _NAME.fullmatch(spelled):
        raise StoreError(
            "What is given as NAME cannot be the name of a secret, and is not repeated here. "
            f"Accepted: a letter first, then letters, digits, . _ - and /, {LONGEST_NAME} at most; not the code itself."
        )
    return spelled


def bound_to(form: Form, name: str) -> bytes:
    """Return what a secret is sealed to: the format, the file by its salt, and the name."""
    return json.dumps(["loopwright vault entry", FORMAT, _text(form.salt), name], ensure_ascii=True).encode("ascii")


def with_secret(form: Form, name: str, secret: Secret, keys: Keys, draw: Draw) -> Form:
    """Return the form with a secret put into it, in place of one of that name. Raises StoreError."""
    size = len(secret.utf8())
    if not 1 <= size <= LONGEST_SECRET:
        raise StoreError(f"a secret has 1 to {LONGEST_SECRET} bytes.")
    if name not in form.boxes and len(form.boxes) >= MOST_ENTRIES:
        raise StoreError(f"a vault holds {MOST_ENTRIES} secrets at most.")
    return replace(form, boxes={**form.boxes, name: Box(*keys.seal(secret, bound_to(form, name), draw))})


def without_secret(form: Form, name: str) -> Form:
    """Return the form without a secret."""
    return replace(form, boxes={each: box for each, box in form.boxes.items() if each != name})


def secret_in(form: Form, name: str, keys: Keys) -> Secret:
    """Return one secret. Raises Broken, or StoreError when there is none of that name."""
    if name not in form.boxes:
        raise StoreError("there is no secret of that name in the vault; `loopwright vault FILE list` names them.")
    return keys.unseal(*form.boxes[name], bound_to(form, name))


def composed(form: Form, keys: Keys) -> bytes:
    """Return the bytes of the file, with the seal over everything in it."""
    return _spelled(form, keys.mark(_spelled(form, b"")))


def parsed(raw: bytes) -> tuple[Form, bytes]:
    """Return what stands in a file, and its seal, which has not been looked at yet. Raises NotAVault."""
    try:
        form, seal = _form(json.loads(raw.decode("ascii")))
        # Only the one spelling is taken: no other spaces, order or padding, nothing more and nothing less.
        fits = _spelled(form, seal) == raw
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        fits = False
    if not fits:
        raise NotAVault("is not a vault, or is damaged.")
    return form, seal


def checked(form: Form, seal: bytes, keys: Keys) -> Form:
    """Return the form when its seal fits. Raises Broken."""
    if not same(keys.mark(_spelled(form, b"")), seal):
        raise Broken
    return form


def _form(values: Any) -> tuple[Form, bytes]:  # noqa: ANN401 - whatever JSON holds
    key = values["key"]
    if any(type(each) is not int for each in (key["passes"], key["memory_kib"], key["lanes"], values["written"])):
        raise TypeError("not a whole number")
    boxes = {name: Box(_bytes(each["nonce"]), _bytes(each["sealed"])) for name, each in values["entries"].items()}
    form = Form(
        salt=_bytes(key["salt"]),
        cost=Cost(passes=key["passes"], memory_kib=key["memory_kib"], lanes=key["lanes"]),
        written=values["written"],
        boxes=boxes,
    )
    if len(form.salt) != SALT_BYTES or any(len(box.nonce) != NONCE_BYTES or good_name(name) != name for name, box in boxes.items()):
        raise ValueError("out of bounds")
    return form, _bytes(values["seal"])


def _spelled(form: Form, seal: bytes) -> bytes:
    cost = form.cost
    boxes = {name: {"nonce": _text(form.boxes[name].nonce), "sealed": _text(form.boxes[name].sealed)} for name in sorted(form.boxes)}
    values = {
        "about": ABOUT,
        "format": FORMAT,
        "key": {
            "by": KDF, "version": ARGON2_VERSION, "passes": cost.passes, "memory_kib": cost.memory_kib, "lanes": cost.lanes,
            "salt": _text(form.salt),
        },
        "sealed_with": CIPHER,
        "whole_sealed_with": WHOLE,
        "written": form.written,
        "entries": boxes,
        "seal": _text(seal),
    }  # fmt: skip
    return (json.dumps(values, ensure_ascii=True, indent=1) + "\n").encode("ascii")


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).decode("ascii")


def _bytes(text: str) -> bytes:
    return base64.b64decode(text, validate=True)
