"""Detection circuits: what a control unit should read at its inputs, and how surely."""
