"""``loopwright demo``: the example jobs."""

from __future__ import annotations

from typing import Annotated

from cyclopts import Parameter

from loopwright.cli.refusal import DONE


def demo(name: Annotated[str | None, Parameter(show_default=False)] = None, /) -> int:
    """List the example jobs, or print one.

    Their kit, premises and people are invented. Nothing is written: `loopwright new FILE --demo NAME` does that.

    For example:

        loopwright demo
        loopwright demo business
        loopwright demo business | loopwright check -

    Parameters
    ----------
    name
        The example job to print, as YAML.
    """
    from loopwright.cli.new import demo_text
    from loopwright.cli.terminal import say, say_bytes

    if name is None:
        for line in _list():
            say(line)
    else:
        say_bytes(demo_text(name))
    return DONE


def _list() -> list[str]:
    from loopwright import demo
    from loopwright.job.read import read

    lines = []
    for name in demo.names():
        job = read(demo.text(name)).job
        size = f"{len(job.equipment)} pieces of equipment, {len(job.cables)} cable runs, {len(job.circuits)} detection circuits"
        lines.append(f"{name:10} {job.title}: {size}; ruleset {job.region.ruleset}, stage {job.stage}.")
    return [*lines, "", "loopwright demo NAME prints one; loopwright new FILE --demo NAME writes one to a file."]
