"""A dossier's page: what readers see, and the forms below it for its owner."""
