"""The steps from one version of the database to the next; `loopwright.store.migrate` takes them."""
