"""What is kept between visits. `Store` is the door; only `results` knows diskcache, all SQL stays in here."""

from app.store.carried import CarriedNote
from app.store.plans import NewPlan, StoredPlan
from app.store.problems import (
    Busy,
    ChangedMeanwhile,
    DamagedBlob,
    DatabaseAway,
    FullDisk,
    MissingBlob,
    NoSuchPlan,
    NoSuchTrial,
    PlanFrozen,
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
    "NewPlan",
    "NewTrial",
    "NoSuchPlan",
    "NoSuchTrial",
    "PlanFrozen",
    "SetupVersion",
    "Store",
    "StoreProblem",
    "StoredPlan",
    "StoredTrial",
    "UnusableStore",
]
