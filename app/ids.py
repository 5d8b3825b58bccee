"""Every component id of the pages, in one place; scripts in `assets/` use the same texts. Imports nothing."""

# shell
THEME = "theme"
THEME_SWITCH = "theme-switch"
MAIN = "main"

# home: coming in
UPLOADS = "uploads"
SETUP_TEXT = "setup-text"
SHEET = "sheet"
SHEET_PROBLEM = "sheet-problem"
NEW_FORM = "new-form"
NEW_LINKS_TITLE = "new-links-title"
ANALYSE = "analyse"
GO = "go"
FILE_SLOT, FILE_LIST, FILE_COUNT = "file-slot", "file-list", "file-count"
SETUP_NUMBER = "setup-number"

# trial
TRIAL = "trial-id"
CONTENT = "trial-content"
REST, REST_WANTED = "trial-rest", "rest-wanted"
POLL = "trial-poll"
WINDOW = "trial-window"
VIEW = "trial-view"
SCREEN = "trial-screen"
OVERLAY = "overlay"
CHART_BOX = "chart-box"
AGAINST = "held-against"
EVIDENCE, EVIDENCE_SEEN = "evidence", "evidence-seen"
SECTION, SECTION_SEEN = "section", "section-seen"
SCRUB = "scrub-layer"
CARD = "interval-card"
ZOOM_IN, ZOOM_OUT, EARLIER, LATER = "zoom-interval", "zoom-whole", "view-earlier", "view-later"

# trial: what only its owner has
OWNER_PANEL = "owner-panel"
EDIT_FORM = "edit-form"
EDIT_SAVE = "edit-save"
EDIT_PROBLEM = "edit-problem"
LINKS_FORM = "links-form"
LEAD = "trial-lead"
CHANGING = "changing"

# trial: blocks by hand, and blocks before deltas
BLOCKS_FORM = "blocks-form"
BLOCKS_PANEL = "blocks-panel"
BLOCKS_PROBLEM = "blocks-problem"
BLOCK_LAYER = "block-layer"
FREEZE, FREEZE_FORM, FREEZE_PROBLEM = "freeze", "freeze-form", "freeze-problem"
BLOCKS_FIRST = "blocks-first"

# trial: notes
NOTES, NOTES_FORM, NOTES_PROBLEM, NOTE_LAYER = "notes", "notes-form", "notes-problem", "note-layer"

# trial: clocks
CLOCK_PICTURE, CLOCK_SEEN = "clock-picture", "clock-seen"
NUDGE = "trial-nudge"
HANDS, HANDS_FORM, HANDS_PROBLEM = "clock-hands", "hands-form", "hands-problem"
HANDS_KEEP, HANDS_DROP, HANDS_SAID = "hands-keep", "hands-drop", "hands-said"

# the two sheets, and the parts of one recording's row
NEW, EDIT = "new", "edit"
LABEL, POINT, CLAIM, FIRMWARE, SHIFT, POWER = "label", "point", "claim", "firmware", "shift", "power"
SIDES, OBTAINED = "sides", "obtained"
PARTS = (LABEL, POINT, CLAIM, FIRMWARE, SIDES, OBTAINED, SHIFT, POWER)
# the ride plan in a sheet: one step's parts, and the list that is to become steps
STEP_NAME, STEP_LENGTH, STEP_TARGET, STEP_KIND = "name", "length", "target", "kind"
STEP_PARTS = (STEP_NAME, STEP_LENGTH, STEP_TARGET, STEP_KIND)
PLAN_ASKED, PLAN_READ = "plan-asked", "plan-read"
PLAN_DRAFT, PLAN_HANDED = "plan-draft", "plan-handed"

# the ride plan's page: what its script sends (typed, start, act), what is shown
PLAN_BODY, PLAN_TOKEN, PLAN_VERSION = "plan-body", "plan-token", "plan-version"
PLAN_TYPED, PLAN_START, PLAN_ACT, PLAN_TAKE, PLAN_FILE = "plan-typed", "plan-start", "plan-act", "plan-take", "plan-file"
PLAN_STARTS, PLAN_TOP, PLAN_EDITOR = "plan-starts", "plan-top", "plan-editor"
PLAN_ANSWER, PLAN_STEPS = "plan-answer", "plan-steps"
PLAN_SAID, PLAN_TOLD, PLAN_GO = "plan-said", "plan-told", "plan-go"

# the links of a trial, and of a dossier: which sheet its forms are, and its panel
LINKS_SHEET = {"trial": "links", "dossier": "dossier-links"}
LINKS_PANEL = {"trial": "links-panel", "dossier": "dossier-links-panel"}
LINKS_BODY = {"trial": "links-body", "dossier": "dossier-links-body"}

# dossiers
DOSSIER = "dossier-address"
DOSSIER_CONTENT = "dossier-content"
DOSSIER_FORM = "dossier-form"
DOSSIER_LINKS_FORM = "dossier-links-form"
DOSSIER_PROBLEM = "dossier-problem"
DOSSIER_SAID = "dossier-said"
DOSSIER_LEAD = "dossier-lead"
DOSSIER_PICTURE, DOSSIER_PICTURE_NAME = "dossier-picture", "dossier-picture-name"
