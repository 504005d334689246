"""What verbs have in common on the command line: how FILE and flags are taken."""

from __future__ import annotations

from typing import Annotated, Any

from cyclopts import Parameter


def _no_option(kind: Any, value: Any) -> None:  # noqa: ANN401 - the library's own signature
    """Refuse an option nobody knows where a file is expected; ``-`` alone is standard input."""
    if isinstance(value, str) and value.startswith("-") and value != "-":
        raise ValueError(f"There is no option {value} here. A file of that name is written ./{value}")


File = Annotated[str, Parameter(allow_leading_hyphen=True, validator=_no_option)]
Flag = Annotated[bool, Parameter(negative="", show_default=False)]
