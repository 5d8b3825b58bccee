"""Every component id of the pages, in one place; scripts in `assets/` use the same texts. Imports nothing."""

# shell
THEME = "theme"
THEME_SWITCH = "theme-switch"
MAIN = "main"

# home: coming in
UPLOADS = "uploads"
SHEET = "sheet"
REFERENCE = "new-reference"
TITLE = "new-title"
LOSS_LOW, LOSS_HIGH = "new-loss-low", "new-loss-high"
ANALYSE = "analyse"
SHEET_PROBLEM = "sheet-problem"
SETUP_TEXT = "setup-text"
REMEMBERED = "remembered"
GO = "go"
FILE_SLOT, FILE_LIST = "file-slot", "file-list"

# trial
TRIAL = "trial-id"
CONTENT = "trial-content"
POLL = "trial-poll"
WINDOW = "trial-window"
VIEW = "trial-view"
OVERLAY = "overlay"
SCRUB = "scrub-layer"
CARD = "interval-card"
ZOOM_IN, ZOOM_OUT, EARLIER, LATER = "zoom-interval", "zoom-whole", "view-earlier", "view-later"

# trial: the owner's sheet
EDIT_REFERENCE = "edit-reference"
EDIT_TITLE = "edit-title"
EDIT_LOSS_LOW, EDIT_LOSS_HIGH = "edit-loss-low", "edit-loss-high"
EDIT_SAVE = "edit-save"
EDIT_PROBLEM = "edit-problem"
OWNER_PANEL = "owner-panel"
OWNER_LINK = "owner-link"
OWNER_LINK_TEXT = "owner-link-text"

# sheets and the parts of one recording's row
NEW, EDIT = "new", "edit"
LABEL, POINT, CLAIM, FIRMWARE, SHIFT = "label", "point", "claim", "firmware", "shift"


def field(sheet: str, part: object, key: object) -> dict[str, object]:
    """Id of one field of a sheet; `part` and `key` (the recording's hash) may be a dash wildcard."""
    return {"sheet": sheet, "part": part, "key": key}
