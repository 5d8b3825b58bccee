"""Dossiers on this server: what is typed into their forms, trials looked up and added, what readers take away."""
