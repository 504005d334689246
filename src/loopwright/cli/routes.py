"""``loopwright routes``: who comes in and goes out by which door, past what, in what time; and what is not watched although set."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from loopwright.cli.refusal import BROKEN_MUST, DONE
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.job.document import Job
    from loopwright.programme.route import Route


def routes(file: File, /, *, json: Flag = False) -> int:
    """Tell the walking routes of a job, and every time in which something is not watched although the system is set.

    A route is one person's way from an entry door to the keypad, or out again: what is passed comes from the plan where there is
    one, else from what is listed. Exit status: 0; 1 when a route raises an alarm or takes too long; 2 when the document cannot be read.

    For example:

        loopwright routes shop.yaml
        loopwright routes shop.yaml --json

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    json
        Print routes and unwatched times as JSON.
    """
    from loopwright.cli.file import read_job
    from loopwright.programme.route import routes_of

    job = read_job(file)
    found = routes_of(job)
    if json:
        from loopwright.cli.terminal import say_json

        say_json({"file": file, **_told(job, found)})
    else:
        _show(job, found)
    return BROKEN_MUST if any(_fails(route) for route in found) else DONE


def _fails(route: Route) -> bool:
    late = route.spare_s is not None and route.spare_s < 0
    return late or not all(route.begins) or any(each.alarms for each in route.passed)


def _told(job: Job, found: tuple[Route, ...]) -> dict[str, Any]:
    from dataclasses import asdict

    from loopwright.programme.unprotected import unprotected

    routes = [asdict(route) | {"areas": sorted(route.areas)} for route in found]
    return {"routes": routes, "unwatched": [asdict(each) for each in unprotected(job)]}


def _show(job: Job, found: tuple[Route, ...]) -> None:
    from rich.text import Text

    from loopwright.cli.terminal import console, plain
    from loopwright.programme.unprotected import time_words, unprotected

    out = console()
    out.print(Text(plain(f"{job.title}: walking routes"), "bold"), soft_wrap=True)
    same: dict[tuple[object, ...], list[Route]] = {}
    for route in found:
        same.setdefault((route.area, route.door, route.way, route.walk_s), []).append(route)
    for line in dict.fromkeys(line for routes in same.values() for line in _lines(job, routes)):
        out.print(Text(plain(line)), soft_wrap=True)
    if not found:
        out.print("Nobody has said by which doors people come in.")
    out.print(Text("\nNot watched although set", "bold"))
    for each in unprotected(job):
        most = "nobody has said how long" if each.most_s is None else f"at most {time_words(each.most_s)}"
        words = f"{each.what[:1].upper()}{each.what[1:]}, {most}: {each.why}. Ends {each.ends}."
        out.print(Text(plain(words)), soft_wrap=True)


def _lines(job: Job, same: list[Route]) -> list[str]:
    """Return the lines of a route that several people take in the same time."""
    route, who = same[0], ", ".join(dict.fromkeys(job.users[each.user].role for each in same))
    door = job.zones[route.door]
    time = "time not known" if route.spare_s is None else f"{route.walk_s:g} s of {route.allowed_s:g} s"
    if route.spare_s is not None and route.spare_s < 0:
        time += f", {-route.spare_s:g} s too long"
    lines = [f"{who[:1].upper()}{who[1:]} {route.way}, {job.areas[route.area].name}, zone {door.number} ({door.text}): {time}"]
    wrong = [state for state, begins in zip(route.states, route.begins, strict=True) if not begins]
    if wrong:
        lines.append(f"  zone {door.number} begins no entry there in {', '.join(wrong)}")
    for each in route.passed:
        zone = job.zones[each.zone]
        bad = [
            f"{word or 'nothing said'} in {state}"
            for word, state, good in zip(each.does, route.states, each.tolerated, strict=True)
            if not good
        ]
        lines += [f"  past zone {zone.number} ({zone.text}; {each.known}): {', '.join(bad)}"] if bad else []
    return lines
