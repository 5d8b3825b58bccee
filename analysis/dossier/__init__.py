"""All about one device under review: its trials' digests, its bench sheet, its reviewer's words. No recording is opened here."""
