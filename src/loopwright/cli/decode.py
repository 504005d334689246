"""``loopwright decode``: frames as they stand in a log, each told in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import BROKEN_MUST, DONE, Refusal
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.signalling.key import Key


def decode(
    file: File = "-",
    /,
    *,
    key_file: Annotated[str | None, Parameter(show_default=False)] = None,
    ask_key: Flag = False,
    json: Flag = False,
) -> int:
    r"""Say in plain words what each frame in a log is: account, event, zone, restore, time, and whether it is whole.

    Frames of DC-09 are found in text, their ends written \n and \r or left out, and in hexadecimal bytes.
    A key is read from a file or asked for, never written on the line; it is tried as hexadecimal digits and
    as characters, and the one that fits is named. Exit status 1 when a frame is damaged.

    For example:

        loopwright decode centre.log
        loopwright decode centre.log --ask-key
        loopwright decode --key-file key.txt --json < centre.log

    Parameters
    ----------
    file
        The log; - or nothing reads it from standard input.
    key_file
        A file of yours alone, whose first line is the key.
    ask_key
        Ask for the key on the terminal.
    json
        Print what each frame says as JSON.
    """
    from loopwright.cli.file import name_of, read_source
    from loopwright.cli.terminal import plain, say, say_json
    from loopwright.signalling.log import frames_in
    from loopwright.signalling.words import told
    from loopwright.store.aes import ChainedAes

    keys = _keys(key_file) if ask_key or key_file is not None else ()
    found = [(line, told(octets, keys, ChainedAes())) for line, octets in frames_in(read_source(file))]
    if not found:
        raise Refusal(f"{name_of(file)}: holds no frame: four digits of check sum, 0, three of length and a name between quotation marks.")
    if json:
        say_json({"file": file, "frames": [{"line": line, "damaged": each.damaged, "words": list(each.lines)} for line, each in found]})
    else:
        for line, each in found:
            say(plain(f"line {line}: {each.lines[0]}"))
            for more in each.lines[1:]:
                say(plain(f"    {more}"))
    return BROKEN_MUST if any(each.damaged for _, each in found) else DONE


def _keys(file: str | None) -> tuple[Key, ...]:
    from loopwright.cli.passphrase import key_in
    from loopwright.signalling.key import keys_of

    keys = keys_of(key_in(file).reveal())
    if not keys:
        raise Refusal(
            "a key has 32, 48 or 64 hexadecimal digits, or 16, 24 or 32 characters. What was read is neither, and is not repeated."
        )
    return keys
