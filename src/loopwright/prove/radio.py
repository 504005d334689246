"""Radio devices and fobs: identities that are told apart, the margin in place, the check-in seen.

Limits of the margin are common practice, no source; a fall of 6 dB or more since is an altered building or aerial.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.prove.record import RadioRow

LEAST_MARGIN_DB, GOOD_MARGIN_DB = 6.0, 12.0
"""Above what the receiver just hears: below the first it comes and goes, from the second it stands altered stock and damp walls."""
FALL_DB = 6.0
LONGEST_IDENTITY = 32
_IDENTITY = re.compile(r"[0-9A-Z]{3,32}")
WIRELESS = frozenset({Kind.DETECTOR, Kind.CONTACT, Kind.HOLD_UP})


def is_radio(job: Job, device: str) -> bool:
    """Return whether a device can only report by radio: it stands in no circuit, has no cable and no place on the bus."""
    if job.sheet_of(device).kind not in WIRELESS or job.sheet_of(device).addressed or job.equipment[device].inside:
        return False
    wired = any(hop.device == device for circuit in job.circuits.values() for hop in circuit.path)
    return not wired and all(device not in (cable.start, cable.end) for cable in job.cables.values())


def identity_of(text: str) -> str:
    """Return an identity as it is compared: capitals and digits alone. Raises ValueError with a sentence.

    >>> identity_of(" 00a-4f 19 ")
    '00A4F19'
    """
    found = re.sub(r"[\s:.\-/]", "", text).upper()
    if not _IDENTITY.fullmatch(found):
        raise ValueError("An identity is 3 to 32 letters and digits, as on the label: scan it, or type all of it.")
    return found


def refuse_double(rows: Iterable[RadioRow], row: RadioRow) -> None:
    """Raise ValueError where an identity that is in use is given to something else, or one thing gets a second one."""
    for each in rows:
        if each.identity == row.identity and each.what != row.what and not each.gone:
            raise ValueError(f"{row.identity} is {each.what} already: read the label again. One identity stands for one device.")
        if each.identity != row.identity and each.what == row.what and not each.gone and not row.gone:
            raise ValueError(f"{row.what} has identity {each.identity} already; say first that it is lost or replaced.")


def margin_words(row: RadioRow, before: RadioRow | None = None) -> tuple[bool | None, str]:
    """Return whether a margin will do, and in words why; None where none was read."""
    if row.margin_db is None:
        return None, "margin not read yet"
    if before is not None and before.margin_db is not None and before.margin_db - row.margin_db >= FALL_DB:
        fallen = before.margin_db - row.margin_db
        return False, f"{row.margin_db:g} dB, {fallen:g} dB less than before: look at what stands in between, and at its aerial"
    if row.margin_db < LEAST_MARGIN_DB:
        return False, f"{row.margin_db:g} dB: it will come and go; move it, or put a repeater between"
    close = "" if row.margin_db >= GOOD_MARGIN_DB else "; little is left for damp walls and moved stock"
    return True, f"{row.margin_db:g} dB{close}"


def proved(row: RadioRow, before: RadioRow | None = None) -> bool:
    """Return whether a radio device or fob is proved: a lost one by being removed, a fob by its check-in alone."""
    if row.gone:
        return True
    enough = row.kind == "fob" or margin_words(row, before)[0] is True
    return enough and bool(row.checked_in)
