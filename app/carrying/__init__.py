"""A whole trial as one file: taken away by its owner, opened on another server as a trial of one's own."""
