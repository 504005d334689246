"""``loopwright send``: a walk sent to a receiver, to try it before a control unit does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import BROKEN_MUST, DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.receiver.sending import Sent
    from loopwright.signalling.key import Key


def send(
    to: str,
    walk: File = "-",
    /,
    *,
    udp: Flag = False,
    at_once: Flag = False,
    key_file: Annotated[str | None, Parameter(show_default=False)] = None,
    ask_key: Flag = False,
    characters: Flag = False,
) -> int:
    """Send the events of a table to a receiver by DC-09, each once the one before is answered, and print what became of each.

    AGREE WITH THE RECEIVING CENTRE FIRST, and name the account as one on test: to it this is a control unit. An event without an
    answer is sent three times, 10 s apart. Exit status 1 when one is not acknowledged.

    The table is CSV with the columns after_s, account, form, data, and line and receiver where they are wanted:

        after_s,account,form,data
        0,1234,SIA-DCS,Nri1/BA004
        5,1234,ADM-CID,3130 01 004
        60,1234,NULL,

    For example:

        loopwright send 127.0.0.1:8418 walk.csv
        loopwright send 192.0.2.7:9000 walk.csv --udp --ask-key

    Parameters
    ----------
    to
        Address and port of the receiver.
    walk
        The table; - or nothing reads it from standard input.
    udp
        Send by UDP instead of TCP.
    at_once
        Do not wait between the rows.
    key_file
        A file of yours alone, whose first line is the key; messages are encrypted then.
    ask_key
        Ask for the key on the terminal.
    characters
        Take the key as characters where it could be hexadecimal digits too.
    """
    import secrets

    from loopwright.cli.file import name_of, read_source
    from loopwright.receiver.sending import NotReached, Wire, send_walk
    from loopwright.signalling.received import Way
    from loopwright.signalling.sender import Fate
    from loopwright.signalling.walk import WalkError, walk_in
    from loopwright.store.aes import ChainedAes

    host, port = _address(to)
    try:
        steps = walk_in(read_source(walk).decode("utf-8"))
    except (WalkError, UnicodeDecodeError) as error:
        reason = error if isinstance(error, WalkError) else "it is not UTF-8 text."
        raise Refusal(f"{name_of(walk)}: {reason}") from None
    key = _key(key_file, characters) if ask_key or key_file is not None else None
    wire, failed = Wire(host, port, Way.UDP if udp else Way.TCP), 0
    try:
        wait = {"sleep": _not_at_all} if at_once else {}
        for sent in send_walk(steps, wire, key=key, cipher=ChainedAes(), draw=secrets.token_bytes, **wait):
            failed += sent.fate is not Fate.ACKNOWLEDGED
            _say(sent)
    except NotReached as error:
        raise Refusal(str(error)) from None
    finally:
        wire.close()
    return BROKEN_MUST if failed else DONE


def _not_at_all(_: float) -> None:
    """Wait for nothing."""


def _say(sent: Sent) -> None:
    from loopwright.cli.terminal import plain, say

    step = sent.step
    tries = "" if sent.tries == 1 else f", sent {sent.tries} times"
    clock = f"; its clock was set by {sent.ahead_s:+.0f} s" if abs(sent.ahead_s) >= 1 else ""
    say(plain(f"{sent.number} {step.account} {step.form} {step.data}: {sent.fate}{tries}, {sent.took_s * 1000:.0f} ms{clock}."))


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not colon or not host or not port.isascii() or not port.isdigit() or not 0 < int(port) <= 65535:
        raise Refusal(f"{text}: an address and a port are accepted, as 192.0.2.7:8418.")
    return host, int(port)


def _key(file: str | None, characters: bool) -> Key:
    from loopwright.cli.passphrase import key_in
    from loopwright.signalling.key import Form, keys_of

    keys = keys_of(key_in(file).reveal())
    chosen = [each for each in keys if (each.form is Form.CHARACTERS) is characters] or list(keys)
    if not chosen:
        raise Refusal(
            "a key has 32, 48 or 64 hexadecimal digits, or 16, 24 or 32 characters. What was read is neither, and is not repeated."
        )
    return chosen[0]
