"""One file per page: `layout()` and its registration, which needs an app that is being made; and the frame around them.

Dash calls a layout without arguments to check it: then a stub answers.
"""

from app.pages import home, not_found_404, plan, trial
from app.shell import shell

__all__ = ["home", "not_found_404", "plan", "shell", "trial"]

home.register()
plan.register()
trial.register()
not_found_404.register()
