"""After Analyse on a public server: the owner link, shown this once, the reader link, and the way to the page."""

from __future__ import annotations

from dash import html

from app import ids, links


def both_links(base: str, trial_id: str, owner_key: str) -> html.Section:
    """The two addresses of a new trial, each with what it allows; `base` is scheme and host."""
    path = links.trial_path(trial_id)
    return html.Section(
        [
            html.H2("Keep this owner link", id=ids.NEW_LINKS_TITLE),
            html.P(
                "It is shown only here and only now. Whoever opens it may change the trial, so keep it to yourself; without it "
                "only this browser can change anything."
            ),
            _address("Owner link", links.absolute(base, links.owner_path(trial_id, owner_key))),
            html.P("Give readers the other one: it opens the page and changes nothing."),
            _address("Reader link", links.absolute(base, path)),
            html.P(html.A("Open the trial", href=path, className="demo-link")),
        ],
        className="notice caution new-links",
        **{"aria-labelledby": ids.NEW_LINKS_TITLE},
    )


def _address(name: str, address: str) -> html.P:
    about = {"data-copy": address, "aria-label": f"Copy the {name.lower()}"}
    copy = html.Button("Copy", type="button", className="quiet", **about)
    return html.P([html.Strong(f"{name}: "), html.Code(address, className="owner-path"), " ", copy])
