"""One network: conductors, elements, the compiled netlist, its solution, and faults as edits of it."""
