"""The ride plan's page: what is typed, what comes of it, what is kept. Addresses of plans are in `app.links`."""
