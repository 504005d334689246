"""A technician's steps in a real browser. A package, so that the browser they share closes when the last of them is done."""
