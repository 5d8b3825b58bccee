"""The ceilings of one upload. Crossing one is a sentence that names it, never a wait."""

MAX_FILE_BYTES = 64 * 2**20  # one file; a four-hour FIT file is 0.7 MB, as TCX about 6 MB
MAX_UPLOAD_BYTES = 256 * 2**20  # all files of an upload, decompressed
MAX_RATIO = 1000  # decompressed to compressed; recordings reach 20, a file beyond this is made to fill the memory
MAX_FILES = 24  # recordings in one upload
# Samples of one recording: 4.6 days at 1 Hz, 28 hours at 4 Hz. Measured: with every channel and a clock to be mended it
# keeps reading under 512 MB and 2 s.
MAX_SAMPLES = 400_000


def megabytes(n_bytes: float) -> str:
    """As people say it: whole megabytes."""
    return f"{n_bytes / 2**20:.0f} MB"
