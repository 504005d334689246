"""A search that knows nothing of tables: every state visited by the plain step, one at a time."""

from __future__ import annotations

from loopwright.rehearse.plan import Programme
from loopwright.rehearse.state import begin
from loopwright.rehearse.step import TICK, effect_of, events, step

Fixed = tuple[tuple[str, int], ...]


def fixed(state: dict[str, int]) -> Fixed:
    return tuple(sorted(state.items()))


def by_the_clock(programme: Programme) -> dict[Fixed, int]:
    """Return every state, clocks among it, with the number of events and ticks it takes."""
    first = fixed(begin(programme))
    depth, waiting, what = {first: 0}, [first], [*events(programme), TICK]
    for state in waiting:
        for event in what:
            after = step(programme, dict(state), event)
            if after is not None and fixed(after[0]) not in depth:
                depth[fixed(after[0])] = depth[state] + 1
                waiting.append(fixed(after[0]))
    return depth


def at_any_time(programme: Programme) -> dict[Fixed, int]:
    """Return every state when times may end whenever they run; the clocks stand at nothing."""
    first = fixed(begin(programme))
    depth, waiting, what = {first: 0}, [first], events(programme)
    for state in waiting:
        known = dict(state)
        for event in what:
            effect = effect_of(programme, known.__getitem__, event)
            after = None if effect is None else fixed({**known, **effect.changes})
            if after is not None and after not in depth:
                depth[after] = depth[state] + 1
                waiting.append(after)
    return depth
