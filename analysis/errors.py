"""Every error a caller may meet. A message names the file or field, what was expected, what came, and what to do.

CountercheckError
├── UnreadableFile      the bytes are not a recording we can read, or too damaged to trust
├── UnusableRecording   read, but it cannot take part: no power, no samples, too short
├── NotOneRide          recordings that share no time and no signal, or too few of them
├── SameRecording       the same bytes, or the same sensor's samples, given twice
├── BadSetup            setup.toml (or the page's form): unknown key, wrong type, value out of range
│   └── UnfitEdit       a change by hand that does not fit the blocks
└── OutOfRange          a time or a number handed to a function lies outside what it can answer
"""

from collections.abc import Callable


class CountercheckError(Exception):
    """Base of all errors whose message may be shown to a person as it stands: one plain sentence."""


class UnreadableFile(CountercheckError):
    """The bytes are not a recording we can read, or are too damaged to trust."""


class UnusableRecording(CountercheckError):
    """A sound file that cannot take part in a comparison."""


class NotOneRide(CountercheckError):
    """Fewer than two recordings, or recordings that do not belong to one ride."""


class SameRecording(CountercheckError):
    """One recording given twice: a device cannot be its own referee."""


class BadSetup(CountercheckError):
    """The set-up says something that cannot be understood or cannot be true."""


class UnfitEdit(BadSetup):
    """A change of the blocks by hand that does not fit them: which entry of the set-up, and why.

    `words` has a name in braces for each of `told`; what is a number there is a time in seconds on the trial's clock.
    """

    def __init__(self, place: str, words: str, **told: float | str) -> None:
        self.words, self.told = words, told
        super().__init__(f"{place}: {self.reason(lambda time_s: f'{time_s:.0f} s')}")

    def reason(self, clock: Callable[[float], str]) -> str:
        """The complaint without its place in the set-up, times as `clock` writes them."""
        return self.words.format(**{k: v if isinstance(v, str) else clock(v) for k, v in self.told.items()})


class OutOfRange(CountercheckError):
    """An argument outside the range that can be answered."""
