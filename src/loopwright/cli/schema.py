"""``loopwright schema``: the form of a job document, for editors."""

from __future__ import annotations

from loopwright.cli.refusal import DONE


def schema() -> int:
    """Print the JSON Schema of a job document.

    An editor that knows YAML schemas then offers keys and words while a document is written.

    For example:

        loopwright schema > job.schema.json
    """
    from loopwright.cli.terminal import say_json
    from loopwright.job.schema import json_schema

    say_json(json_schema())
    return DONE
