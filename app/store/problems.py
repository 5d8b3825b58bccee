"""What can go wrong with stored things; each message may be shown to a person as it stands.

StoreProblem (a CountercheckError)
├── MissingBlob     no recording under this hash
├── DamagedBlob     the disk gave back other bytes than were stored
├── NoSuchTrial     no trial under this id
├── NoSuchPlan      no ride plan under this address
├── NoSuchDossier   no dossier under this address
├── PlanFrozen      a ride plan that was frozen is to be changed
├── ChangedMeanwhile  someone else changed the trial since it was read
├── LastOwnerLink   no owner link would be left
├── FullDisk        there is no room for what was to be kept
├── Busy            another program holds the database
├── DatabaseAway    the database does not answer just now
└── UnusableStore   the folder or database cannot be used at all
"""

from analysis.errors import CountercheckError


class StoreProblem(CountercheckError):
    """Base of everything the store complains about."""


class MissingBlob(StoreProblem):
    """No recording is stored under this hash."""


class DamagedBlob(StoreProblem):
    """A stored recording does not match its hash any more."""


class NoSuchTrial(StoreProblem):
    """No trial has this id."""

    def __init__(self) -> None:
        super().__init__("There is no trial at this address; check that the link is complete.")


class NoSuchPlan(StoreProblem):
    """No ride plan has this address."""

    def __init__(self) -> None:
        super().__init__("There is no ride plan at this address; check that the link is complete.")


class NoSuchDossier(StoreProblem):
    """No dossier is kept under this address."""

    def __init__(self) -> None:
        super().__init__("There is no dossier at this address; check that the link is complete.")


class PlanFrozen(StoreProblem):
    """A frozen ride plan stays as it is."""

    def __init__(self) -> None:
        super().__init__("This plan is frozen and stays as it is; make a changed copy of it.")


class ChangedMeanwhile(StoreProblem):
    """The trial's set-up is no longer the one that was read."""


class LastOwnerLink(StoreProblem):
    """No owner link would be left, and nobody has said that this is meant."""


class FullDisk(StoreProblem):
    """There is no room left where things are kept."""

    def __init__(self) -> None:
        super().__init__("The server's disk is full, so nothing was kept; make room on it and try again.")


class Busy(StoreProblem):
    """The database was locked by somebody else for longer than we wait."""

    def __init__(self) -> None:
        super().__init__("The server's database is busy and nothing was changed; try again in a minute.")


class DatabaseAway(StoreProblem):
    """The database cannot be reached, or fails; nothing was changed."""

    def __init__(self) -> None:
        super().__init__("The server's database does not answer and nothing was changed; try again in a minute.")


class UnusableStore(StoreProblem):
    """The data folder or the database cannot be used."""
