"""What is kept between visits. `Store` is the door; only `results` knows diskcache, all SQL stays in here."""

from app.store.carried import CarriedNote
from app.store.dossiers import NewDossier, StoredDossier
from app.store.links import GivenOut, Link, Links
from app.store.notes import Note
from app.store.plans import NewPlan, StoredPlan
from app.store.problems import (
    Busy,
    ChangedMeanwhile,
    DamagedBlob,
    DatabaseAway,
    FullDisk,
    LastOwnerLink,
    MissingBlob,
    NoSuchDossier,
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
    "GivenOut",
    "LastOwnerLink",
    "Link",
    "Links",
    "MissingBlob",
    "NewDossier",
    "NewPlan",
    "NewTrial",
    "NoSuchDossier",
    "NoSuchPlan",
    "NoSuchTrial",
    "Note",
    "PlanFrozen",
    "SetupVersion",
    "Store",
    "StoreProblem",
    "StoredDossier",
    "StoredPlan",
    "StoredTrial",
    "UnusableStore",
]
