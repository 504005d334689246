"""Where along a circuit, a run or the branches of a supply a fault is: halving plans and distances."""
