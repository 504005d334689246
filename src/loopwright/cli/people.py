"""``loopwright people``: who may come in from elsewhere, and as what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.words import Flag

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from loopwright.cli.passphrase import Words
    from loopwright.store.audit import Audit
    from loopwright.store.people import People
    from loopwright.store.person import Role

Act = Literal["add", "list", "role", "out", "in", "password", "codes", "trail"]
RoleWord = Literal["surveyor", "installer", "desk", "office", "mate", "reader"]
NAMELESS = ("list", "trail")
GIVEN_DAYS = 3


def people(
    act: Act,
    name: Annotated[str | None, Parameter(show_default=False)] = None,
    /,
    *,
    role: Annotated[RoleWord | None, Parameter(show_default=False)] = None,
    owner: Flag = False,
    people: Annotated[str | None, Parameter(show_default=False)] = None,
    passphrase_file: Annotated[str | None, Parameter(show_default=False)] = None,
    passphrase_fd: Annotated[int | None, Parameter(show_default=False)] = None,
) -> int:
    """Say who may come in when the workbench is served to others (`loopwright serve --lan`).

    add asks for a password, twice. The first person is the owner, who may do everything and keeps the others from then on, here or on the
    screen. Anybody else's password is theirs to change when they first come in, within three days.
    list prints everybody; role gives another role; out lets somebody in no more, in lets them in again; password sets a new password for
    somebody who lost it, and ends their one-time codes; codes asks for one-time codes no more.
    trail prints who came, was refused and changed what, and says whether a line of that was changed, with exit status 1 when one was.
    A password is never written on the command line, where the shell and the list of processes would keep it.

    For example:

        loopwright people add Ada --owner
        loopwright people add Ben --role installer
        loopwright people role Ben --role reader
        loopwright people password Ada
        loopwright people list

    Parameters
    ----------
    act
        What to do: add, list, role, out, in, password, codes or trail.
    name
        The person's name.
    role
        What the person is: surveyor, installer, desk, office, mate or reader (the usual).
    owner
        The person may do everything.
    people
        The file the people are kept in; otherwise one in your data folder ($XDG_DATA_HOME/loopwright, or ~/.local/share/loopwright).
    passphrase_file
        A file of yours alone with the password in its first line.
    passphrase_fd
        The number of an open file descriptor to read the same from.
    """
    from datetime import UTC, datetime

    from loopwright.cli.folder import people_path
    from loopwright.cli.passphrase import Words
    from loopwright.store.audit import Audit
    from loopwright.store.file import StoreError
    from loopwright.store.secret import no_core
    from loopwright.store.user import who

    _fit(act, name, role, owner)
    path = people_path(people, make=act == "add")
    no_core()
    words = Words(passphrase_file, passphrase_fd, piped=False)
    audit = Audit(path.with_name(f"{path.name}.trail"), by=f"{who()} at the machine", clock=lambda: datetime.now(UTC))
    try:
        if act == "trail":
            from loopwright.cli.trail import say_trail

            return say_trail(audit)
        return _act(_people(path, audit), act, name or "", role, owner, words)
    except StoreError as error:
        raise Refusal(str(error)) from None


def _fit(act: Act, name: str | None, role: RoleWord | None, owner: bool) -> None:
    """Raise Refusal when what was said does not go together."""
    if (name is None) != (act in NAMELESS):
        raise Refusal(f"{act} takes no NAME." if act in NAMELESS else f"{act} needs the NAME of a person.")
    if owner and act != "add":
        raise Refusal("--owner is said when a person is added.")
    if role is not None and act not in ("add", "role"):
        raise Refusal("--role is said with add and role.")
    if act == "role" and role is None:
        raise Refusal("role needs --role ROLE: surveyor, installer, desk, office, mate or reader.")


def _people(path: Path, audit: Audit) -> People:
    from loopwright.store.people import People

    return People(path, note=audit.note)


def _act(people: People, act: Act, name: str, role: RoleWord | None, owner: bool, words: Words) -> int:
    from loopwright.cli.terminal import plain, say
    from loopwright.store.person import Role

    shown = plain(name)
    if act == "list":
        return _list(people)
    if act == "add":
        return _add(people, name, Role(role or "reader"), owner, words)
    if act == "password":
        return _password(people, name, words)
    if act == "role":
        people.set_role(name, Role(role or "reader"))
        say(f"{shown} is {role} now.")
    elif act == "codes":
        people.drop_one_time(name)
        say(f"{shown} is asked for one-time codes no more.")
    else:
        people.set_active(name, active=act == "in")
        say(f"{shown} is let in again." if act == "in" else f"{shown} is let in no more, and is out at once.")
    return DONE


def _list(people: People) -> int:
    from loopwright.cli.terminal import plain, say

    for each in sorted(people.everybody().values(), key=lambda person: person.name):
        stands = [] if each.active else ["let in no more"]
        stands += [f"has to change the password before {each.given_until:%Y-%m-%d %H:%M} UTC"] if each.given_until else []
        stands += ["one-time codes"] if each.one_time else []
        say(plain(": ".join((each.name, ", ".join(("owner" if each.owner else each.role.value, *stands))))))
    return DONE


def _add(people: People, name: str, role: Role, owner: bool, words: Words) -> int:
    from loopwright.cli.terminal import plain, say
    from loopwright.store.person import good_person_name

    name = good_person_name(name)
    everybody = people.everybody()
    if name in everybody:
        raise Refusal(f"There is a {name} already.")
    if not everybody and not owner:
        raise Refusal(f"Nobody is there yet, and the first person is the owner: loopwright people add {name} --owner")
    people.add(name, role, words.new_password(name), owner=owner, given_until=None if owner else _until())
    say(f"{plain(name)} may come in as {'owner' if owner else f'{role}, and changes the password first'}.")
    return DONE


def _password(people: People, name: str, words: Words) -> int:
    from loopwright.cli.terminal import plain, say

    person = people.everybody().get(name)
    if person is None:
        raise Refusal("There is nobody of that name.")
    people.set_password(name, words.new_password(name), given_until=None if person.owner else _until())
    say(f"{plain(name)} has a new password{'' if person.owner else ', to be changed when they come in'}. Sessions of the old one are over.")
    return DONE


def _until() -> datetime:
    from datetime import UTC, datetime, timedelta

    return datetime.now(UTC) + timedelta(days=GIVEN_DAYS)
