"""Results -> dash components, one file per panel. Nothing here asks the store, starts a job or makes a number."""
