"""What is kept between visits. `Store` is the door; only `results` knows diskcache, all SQL stays in here."""

from app.store.carried import CarriedNote
from app.store.problems import (
    Busy,
    ChangedMeanwhile,
    DamagedBlob,
    DatabaseAway,
    FullDisk,
    MissingBlob,
    NoSuchTrial,
    StoreProblem,
    UnusableStore,
)
from app.store.store import NewTrial, SetupVersion, Store, StoredTrial

__all__ = [
    "Busy",
    "CarriedNote",
    "ChangedMeanwhile",
    "DamagedBlob",
    "DatabaseAway",
    "FullDisk",
    "MissingBlob",
    "NewTrial",
    "NoSuchTrial",
    "SetupVersion",
    "Store",
    "StoreProblem",
    "StoredTrial",
    "UnusableStore",
]
