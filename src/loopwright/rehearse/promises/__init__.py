"""One module for each family of promises: what is looked for in a programme's parts, and what is said when it is found."""
