"""One network for everything that carries current: conductors, elements, compilation, solution, faults as edits, decks."""
