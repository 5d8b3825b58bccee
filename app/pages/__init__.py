"""One file per page: `layout()` and its registration, which needs an app that is being made; and the frame around them.

Dash calls a layout without arguments to check it: then a stub answers.
"""

from app.pages import dossier, home, not_found_404, plan, trial
from app.shell import shell

__all__ = ["dossier", "home", "not_found_404", "plan", "shell", "trial"]

home.register()
plan.register()
trial.register()
dossier.register()
not_found_404.register()
