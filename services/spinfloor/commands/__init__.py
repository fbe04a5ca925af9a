"""One module per command; each imports what it needs when it runs, so that `spinfloor --help` stays quick."""
