"""Facts of the codes in a job's vault, for the verbs that judge a job: the vault is opened, compared, and left."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.file import STDIN
from loopwright.cli.refusal import Refusal

if TYPE_CHECKING:
    from loopwright.values.code import CodeFacts


def codes_of(file: str, passphrase_file: str | None, passphrase_fd: int | None) -> tuple[CodeFacts, ...]:
    """Return the facts of the codes in the vault beside a job. Raises Refusal when it cannot be opened."""
    from loopwright.cli.passphrase import Words
    from loopwright.store.audit import Audit
    from loopwright.store.file import StoreError
    from loopwright.store.secret import no_core
    from loopwright.store.user import who
    from loopwright.store.vault import names_in, open_vault, trail_path, vault_path

    if file == STDIN:
        raise Refusal("--vault: a job read from standard input has no vault beside it. Give its FILE.")
    no_core()
    job = Path(file)
    audit = Audit(trail_path(job), by=who(), clock=lambda: datetime.now(UTC))
    try:
        words = Words(passphrase_file, passphrase_fd, piped=False)
        # Before the passphrase is asked for: a file that is no vault needs none.
        names_in(vault_path(job))
        return open_vault(vault_path(job), words.passphrase(), note=audit.note).facts()
    except StoreError as error:
        raise Refusal(str(error)) from None
