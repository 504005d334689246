"""The keying plan: what has to be entered at a control unit so that it does what the programme says, in as few key presses as can be."""
