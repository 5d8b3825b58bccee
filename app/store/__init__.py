"""What is kept between visits. `Store` is the door; only `results` knows diskcache, all SQL stays in here."""

from app.store.carried import CarriedNote
from app.store.links import Link, TrialLinks
from app.store.plans import NewPlan, StoredPlan
from app.store.problems import (
    Busy,
    ChangedMeanwhile,
    DamagedBlob,
    DatabaseAway,
    FullDisk,
    LastOwnerLink,
    MissingBlob,
    NoSuchPlan,
    NoSuchTrial,
    PlanFrozen,
    StoreProblem,
    UnusableStore,
)
from app.store.store import Store
from app.store.trials import NewTrial, SetupVersion, StoredTrial

__all__ = [
    "Busy",
    "CarriedNote",
    "ChangedMeanwhile",
    "DamagedBlob",
    "DatabaseAway",
    "FullDisk",
    "LastOwnerLink",
    "Link",
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
    "TrialLinks",
    "UnusableStore",
]
