"""``loopwright token``: which other programs may use the HTTP API of a job, and for what."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.server import JobName
from loopwright.cli.words import File

if TYPE_CHECKING:
    from datetime import datetime

    from loopwright.store.api_token import ApiTokens

Act = Literal["make", "list", "remove", "trail"]
ScopeWord = Literal["read", "change"]
NAMED = ("make", "remove")


def token(
    file: File,
    act: Act,
    name: Annotated[str | None, Parameter(show_default=False)] = None,
    /,
    *,
    scope: Annotated[tuple[ScopeWord, ...], Parameter(show_default=False, negative=())] = (),
    days: Annotated[int | None, Parameter(show_default=False)] = None,
    job: JobName = None,
) -> int:
    """Say which other programs may use the HTTP API of a job while it is served.

    make prints a new token, the only time it can be seen: kept is its hash, in your data folder, for the place the job has on this
    machine, so that a copied folder brings no tokens with it. A program sends it as the header Authorization: Bearer TOKEN. list prints
    the names, what each is for, who made it and until when.
    remove takes one away; it counts no more from the next request on. trail prints what was made and removed, and says whether a line
    of that was changed, with exit status 1 when one was. Secrets and people are for no token.

    For example:

        loopwright token shop.yaml make stock-list
        loopwright token shop.yaml make survey-import --scope change --days 7
        loopwright token shop.yaml list
        loopwright token shop.yaml remove stock-list

    Parameters
    ----------
    file
        The job document, or the postgresql:// address of a server.
    act
        What to do: make, list, remove or trail.
    name
        The name of the token: a letter first, then letters, digits, . _ and -. It stands on every revision the token makes.
    scope
        What the token is for: read (the usual), or change, which is read as well.
    days
        How long it lasts, 1 to 3660; 90 unless said.
    job
        The job on the server, where it keeps several. Its tokens count at this machine's server alone.
    """
    from datetime import UTC, datetime

    from loopwright.store.api_token import ApiTokens, tokens_path, tokens_trail_path
    from loopwright.store.audit import Audit
    from loopwright.store.file import StoreError
    from loopwright.store.user import who

    if (name is not None) != (act in NAMED):
        raise Refusal(f"{act} needs the NAME of a token." if act in NAMED else f"{act} takes no NAME.")
    if act != "make" and (scope or days is not None):
        raise Refusal("--scope and --days are said when a token is made.")
    path, now = tokens_path(_job_file(file, job)), datetime.now(UTC)
    audit = Audit(tokens_trail_path(path), by=who(), clock=lambda: now)
    try:
        if act == "trail":
            from loopwright.cli.trail import say_trail

            return say_trail(audit)
        tokens = ApiTokens(path, note=audit.note)
        if act == "make":
            return _make(tokens, name or "", scope, days, by=who(), now=now)
        return _remove(tokens, name or "") if act == "remove" else _list(tokens, now)
    except StoreError as error:
        raise Refusal(str(error)) from None


def _job_file(file: str, job: str | None) -> Path:
    """Return the job file the tokens are for. Raises Refusal when there is no such job."""
    from loopwright.cli.server import on_server, server_job

    if on_server(file):
        place = server_job(file, job).beside
        place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        return place
    if job is not None:
        raise Refusal("--job: names a job on a server; a file is one job.")
    if not Path(file).is_file():
        raise Refusal(f"{file}: there is no such file, so there is no job to make tokens for.")
    return Path(file)


def _make(tokens: ApiTokens, name: str, scope: tuple[ScopeWord, ...], days: int | None, *, by: str, now: datetime) -> int:
    from loopwright.cli.terminal import complain, say
    from loopwright.store.api_token import USUAL_DAYS, Scope

    scopes = frozenset(Scope(each) for each in scope or ("read",))
    made = tokens.make(name, scopes, by=by, now=now, days=USUAL_DAYS if days is None else days)
    # The words go to standard error, so that the token alone can be led into a file.
    complain("This is shown once; only its hash is kept.")
    say(made.reveal())
    return DONE


def _remove(tokens: ApiTokens, name: str) -> int:
    from loopwright.cli.terminal import say

    tokens.remove(name)
    say(f"{name} counts no more.")
    return DONE


def _list(tokens: ApiTokens, now: datetime) -> int:
    from loopwright.cli.terminal import plain, say

    for each in sorted(tokens.everyone().values(), key=lambda kept: kept.name):
        ends = f"ended on {each.ends_at:%Y-%m-%d}" if each.ends_at <= now else f"until {each.ends_at:%Y-%m-%d}"
        say(plain(f"{each.name}: {' and '.join(sorted(each.scopes))}, {ends}, made by {each.made_by} on {each.made_at:%Y-%m-%d}"))
    return DONE
