"""What cannot be understood of an entry."""


class Unclear(ValueError):
    """The words name no terminal, state or question of the job; the message says which would."""
