"""What is kept between visits. `Store` is the door; only `results` knows diskcache, only `database` and `store` SQL."""

from app.store.problems import ChangedMeanwhile, DamagedBlob, MissingBlob, NoSuchTrial, StoreProblem, UnusableStore
from app.store.store import NewTrial, SetupVersion, Store, StoredTrial

__all__ = [
    "ChangedMeanwhile",
    "DamagedBlob",
    "MissingBlob",
    "NewTrial",
    "NoSuchTrial",
    "SetupVersion",
    "Store",
    "StoreProblem",
    "StoredTrial",
    "UnusableStore",
]
