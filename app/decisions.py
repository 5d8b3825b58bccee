"""Who may call what: one line for every callback and every route, each a decision. One without a line fails the build
(tests/security/test_decisions.py), and the same test calls every owner's callback without the key.

`owner`: asks `access.require_owner` before it changes or gives away anything. `reader`: whoever has an address of the trial; he
looks only, and of hidden deltas sees none. `anyone`: touches no trial of anybody, or makes a new one for whoever asks.
"""

from __future__ import annotations

from typing import Literal

Who = Literal["owner", "plan's owner", "dossier's owner", "reader", "anyone"]

# By the output as Dash names it, without the hash behind a doubled one.
CALLBACKS: dict[str, Who] = {
    "..trial-content.children...hands-problem.children..": "owner",
    "..trial-content.children...blocks-problem.children..": "owner",
    "..trial-content.children...freeze-problem.children..": "owner",
    "..trial-content.children...edit-problem.children...trial-window.data...trial-view.data..": "owner",
    "..notes.data-html...note-layer.data-html...notes-problem.children..": "owner",
    # keeps a new plan for anyone; of a kept one it asks `planning.access.require_owner`
    "..plan-body.children...plan-token.data...plan-version.data...plan-said.children...plan-go.href..": "plan's owner",
    # makes a new dossier for anyone; of a kept one it asks `access.require_owner`
    "..dossier-content.children...dossier-said.children...dossier-lead.href..": "dossier's owner",
    "..dossier-links-body.children...dossier-lead.href...dossier-content.children..": "dossier's owner",
    '{"index":["MATCH"],"type":"dossier-picture"}.children': "reader",
    "..links-body.children...trial-lead.href...trial-content.children..": "owner",
    '{"index":["MATCH"],"type":"clock-picture"}.children': "reader",
    '{"index":["MATCH"],"type":"evidence"}.children': "reader",
    '{"index":["MATCH"],"type":"section"}.children': "reader",
    "interval-card.data-html": "reader",
    "..overlay.figure...chart-box.style..": "reader",
    "held-against.figure": "reader",
    "trial-rest.children": "reader",
    "..trial-content.children...changing.children..": "reader",
    ".._pages_content.children..._pages_store.data..": "reader",
    "sheet.children": "anyone",
    "plan-read.data-html": "anyone",
    "..setup-text.data...plan-handed.children..": "anyone",
    "..plan-top.data-html...plan-answer.data-html...plan-steps.data-html...plan-told.data..": "anyone",
    "plan-editor.data-html": "anyone",
    "..plan-file.data...plan-said.children..": "anyone",
    "..go.href...sheet-problem.children...sheet.children..": "anyone",
}

ROUTES: dict[str, Who] = {
    "/trial/<trial_id>/everything.zip": "owner",
    "/own/<trial_id>/<owner_key>": "owner",  # the key is in the address
    "/own-plan/<token>/<owner_key>": "plan's owner",  # likewise
    "/own-dossier/<address>/<owner_key>": "dossier's owner",  # likewise
    "/dossier/<address>/data.zip": "reader",
    "/dossier/<address>/page.html": "reader",
    "/plan/<token>/workout.fit": "reader",
    "/plan/<token>/plan.toml": "reader",
    "/trial/<trial_id>/result.json": "reader",
    "/trial/<trial_id>/deltas.csv": "reader",
    "/trial/<trial_id>/tables.zip": "reader",
    "/trial/<trial_id>/report.html": "reader",
    "/<path:path>": "reader",  # the shell of every page; what stands in it comes by callbacks
    "/": "anyone",
    "/upload": "anyone",
    "/trials": "anyone",
    "/import": "anyone",
    "/demo": "anyone",
    "/healthz": "anyone",
    "/assets/<path:filename>": "anyone",
    "/_favicon.ico": "anyone",
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": "anyone",
    "/_dash-layout": "anyone",  # the frame without a trial in it
    "/_dash-dependencies": "anyone",  # the names of the callbacks, which are in the source
    "/_dash-update-component": "anyone",  # each callback decides for itself, above
    "/_reload-hash": "anyone",  # answered by 404
}
