"""All verbs in one command, and what becomes of what they raise."""

from __future__ import annotations

import os
import traceback
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from cyclopts import App, CycloptsError, UnusedCliTokensError

from loopwright import __version__
from loopwright.cli import (
    backup,
    check,
    dead_checks,
    decode,
    demo,
    desk,
    explain,
    forecast,
    keying,
    list_in,
    list_out,
    locate,
    new,
    papers,
    past,
    people,
    prove,
    put_in,
    receive,
    received,
    rehearse,
    restore,
    routes,
    schema,
    send,
    serve,
    take_over,
    token,
    trends,
    vault,
    verify,
    wont_set,
)
from loopwright.cli.refusal import BAD_INPUT, DONE, PROGRAM_FAULT, Refusal
from loopwright.cli.terminal import complain, console, say_json

SUMMARY = """Loopwright: one model of an intruder-alarm system, and everything that should be seen from it.

For example:

    loopwright new shop.yaml --demo business
    loopwright check shop.yaml
    loopwright forecast shop.yaml
    loopwright explain shop.yaml --seen visit.yaml
    loopwright papers shop.yaml --out papers
    loopwright serve shop.yaml

`loopwright VERB --help` tells more about a verb, with examples.
Exit status: 0; 1 when `check` finds a must broken, `rehearse` a promise, `keying` what the unit cannot hold, `verify` a history changed
or `decode` a frame damaged; 2 when the command or the document cannot be read; 3 for a fault in this program.
"""
VERBS: dict[str, tuple[Callable[..., int], str]] = {
    "new": (new.new, "FILE [--demo dwelling|business] [--synthetic N --seed S] [--force]"),
    "check": (check.check, "FILE [--vault [--passphrase-file FILE | --passphrase-fd N]] [--json]"),
    "forecast": (forecast.forecast, "FILE [--stage STAGE] [--json]"),
    "explain": (explain.explain, "FILE --seen FILE [--json]"),
    "desk": (desk.desk, "FILE [--json]"),
    "dead-checks": (dead_checks.dead_checks, "FILE [--seen FILE] [--json]"),
    "locate": (
        locate.locate,
        "FILE CIRCUIT|RUN|earth [--seen FILE] [--at BOX] [--near READING] [--far READING] [--spare READING] [--spare-m M] [--json]",
    ),
    "trends": (trends.trends, "FILE [--trips-a-year N] [--json]"),
    "take-over": (take_over.take_over, "TABLE FILE [--unit NAME] [--begin FILE [--force]] [--json]"),
    "wont-set": (wont_set.wont_set, "FILE AREA [--mode MODE] [--by USER] [--open ZONE] [--shows KIND@PLACE] [--json]"),
    "decode": (decode.decode, "[FILE] [--key-file FILE | --ask-key] [--json]"),
    "receive": (
        receive.receive,
        "FILE [--host ADDRESS] [--port N] [--test-h H] [--poll-s S] [--flushed] [--no-vault | --passphrase-file FILE | --passphrase-fd N] "
        "[--plain-too] [--show-key]",
    ),
    "received": (received.received, "FILE [TO] [--since N] [--force] [--json]"),
    "send": (send.send, "ADDRESS:PORT [WALK] [--udp] [--at-once] [--key-file FILE | --ask-key] [--characters]"),
    "prove": (prove.prove, "FILE [--out DIR] [--signals] [--json]"),
    "rehearse": (rehearse.rehearse, "FILE [--json]"),
    "routes": (routes.routes, "FILE [--json]"),
    "keying": (keying.keying, "FILE [--found FILE] [--unit NAME] [--walk AREA=SECONDS] [--no-restore] [--json]"),
    "papers": (papers.papers, "FILE --out DIR"),
    "list-in": (list_in.list_in, "FILE devices|cables|circuits|zones LIST [--match M] [--fill F] [--sheet NAME] [--dry-run] [--json]"),
    "list-out": (list_out.list_out, "FILE devices|cables|circuits|zones TO [--force]"),
    "schema": (schema.schema, ""),
    "serve": (
        serve.serve,
        "[FILE | ADDRESS [--job NAME]] [--port N] [--lan | --host H | --behind-proxy ADDRESS] [--name NAME] [--people FILE] "
        "[--no-browser] [--no-history]",
    ),
    "put-in": (put_in.put_in, "FILE postgresql://PERSON@SERVER/DATABASE [--job NAME] [--force]"),
    "backup": (backup.backup, "FILE.db TO [--force]"),
    "restore": (restore.restore, "FROM TO [--revision N] [--job NAME] [--force]"),
    "history": (past.history, "FILE [--from N|NAME] [--to N|NAME] [--job NAME] [--json]"),
    "verify": (verify.verify, "FILE.db [--json]"),
    "vault": (vault.vault, "FILE put|get|list|remove|passwd|trail [NAME] [--passphrase-file FILE | --passphrase-fd N]"),
    "token": (token.token, "FILE make|list|remove|trail [NAME] [--scope read|change] [--days N] [--job NAME]"),
    "people": (
        people.people,
        "add|list|role|out|in|password|codes|trail [NAME] [--role ROLE] [--owner] [--people FILE] "
        "[--passphrase-file FILE | --passphrase-fd N]",
    ),
    "demo": (demo.demo, "[NAME]"),
}
"""The verbs in the order they are listed: what each does, and how it is written."""
TRACEBACK = "LOOPWRIGHT_TRACEBACK"


def application() -> App:
    """Return the command with its verbs."""
    app = App(
        name="loopwright",
        help=SUMMARY,
        help_format="plaintext",
        help_formatter="plain",
        version=__version__,
        version_format="plaintext",
        result_action="return_value",
        suppress_keyboard_interrupt=False,
    )
    for order, (name, (verb, usage)) in enumerate(VERBS.items()):
        app.command(verb, name=name, sort_key=order, usage=f"Usage: loopwright {name} {usage}".rstrip())
    return app


def run(arguments: list[str]) -> int:
    """Run one command and return its exit status; what goes wrong is told in words on standard error."""
    call = partial(application(), arguments, exit_on_error=False, print_error=False, console=console())
    try:
        status = call()
    except Refusal as refusal:
        return _refused(refusal, machine="--json" in arguments)
    except CycloptsError as error:
        return _misused(error)
    except OSError:
        raise
    except Exception as error:
        if os.environ.get(TRACEBACK):
            raise
        return _fault(error)
    return status if isinstance(status, int) else DONE


def _misused(error: CycloptsError) -> int:
    words = str(error)
    if _near_a_secret(error):
        words = "This cannot be read, and is not repeated here. A secret is asked for, not written on the command line"
    elif isinstance(error, UnusedCliTokensError):
        words = f"More than was asked for: {' '.join(error.unused_tokens or ())}"
    complain(f"loopwright: {words if words.endswith(('.', '?')) else f'{words}.'}")
    complain(f"`{' '.join(('loopwright', *(error.command_chain or ()), '--help'))}` says what can be written.")
    return BAD_INPUT


def _near_a_secret(error: CycloptsError) -> bool:
    """Return whether somebody may have written a secret where something else was expected."""
    asked = any(token.startswith(("--vault", "--passphrase", "--key")) for token in error.root_input_tokens or ())
    return asked or bool({"vault", "people", "decode", "send"} & set(error.command_chain or ()))


def _refused(refusal: Refusal, *, machine: bool) -> int:
    for line in refusal.lines:
        complain(line)
    if machine:
        say_json(_machine_form(refusal))
    return BAD_INPUT


def _machine_form(refusal: Refusal) -> Any:  # noqa: ANN401 - whatever JSON holds
    """Return what a program reads instead of a result; a refusal without places of its own is one problem of the whole."""
    if refusal.machine is not None:
        return refusal.machine
    blank = {"file": "", "line": 0, "column": 0, "path": "", "accepted": ""}
    return {"file": "", "problems": [blank | {"message": line} for line in refusal.lines]}


def _fault(error: Exception) -> int:
    """Own up to a fault in the program, with the place whoever mends it needs."""
    inside = [frame for frame in traceback.extract_tb(error.__traceback__) if "loopwright" in frame.filename]
    where = f" ({Path(inside[-1].filename).name}, line {inside[-1].lineno})" if inside else ""
    complain(f"loopwright: a fault in the program, not in the document: {type(error).__name__}: {error}{where}.")
    complain(f"With {TRACEBACK}=1 in the environment the whole way to it is shown.")
    return PROGRAM_FAULT
