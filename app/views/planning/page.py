"""A ride plan's page put together: the editor with what comes of it, or a kept plan as readers see it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from analysis.designing import Aim, Design
from app import ids, links
from app.views import parts
from app.views.frozen import Native, frozen, html_text
from app.views.planning.card import ride_card
from app.views.planning.editor import aim_fields, editor, start_buttons
from app.views.planning.forecast import Forecast, answer_of
from app.views.planning.profile import profile
from app.views.planning.steps import cautions_for, steps_table, toml_fold, total_line
from app.wording import day_and_time, number, unbroken

LEAD = (
    "Lay out the test before you ride it, and see beforehand what it can settle. Freeze it with date and hash, and readers can "
    "check that the plan came first."
)
RIDE = "Parts in the order of the ride. A block on paper becomes a block in the result, under the step's name."
SETTLES = (
    "A forecast from the test that will be made on the recordings; a plan that cannot settle a claim had better be known before "
    "the ride than after it."
)
STEPS = "What the head unit, the card on the bars and the result will name."
KEEPING = (
    "Until it is kept, the plan lives in this browser only. Kept, it has an address of its own: whoever has it may look, only "
    "you may change it. Frozen, nobody changes it any more, and a trial ridden after it says so to its readers."
)
USE = "Use this plan for a new trial"


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What a page says of a plan that is kept; both last ones are None until it is frozen."""

    token: str
    created_utc: str
    frozen_utc: str | None
    fingerprint: str | None

    @property
    def stamp(self) -> str:
        """One line for paper."""
        if self.frozen_utc is None:
            return ""
        return f"Frozen {day_and_time(self.frozen_utc)}, SHA-256 {self.fingerprint[:12]}…"


@dataclass(frozen=True, kw_only=True)
class Found:
    """What comes of a design, as HTML texts: above the editor, the answer, step by step."""

    top: str
    answer: str
    steps: str


def editing_page(
    texts: Mapping[str, Any], own_labels: Sequence[str], found: Found,
    *, kept: Kept | None = None, said: Any = None, done: Any = None,
) -> html.Article:
    """The designer; `kept` where the plan is kept already and still open.

    `said` : what its owner should know now; `done` : what was done, beside the buttons.
    """
    return html.Article(
        [
            _front("Plan a ride", LEAD, kept),
            said,
            frozen(start_buttons()),
            parts.section(1, "ride", "The ride", RIDE, _node(ids.PLAN_TOP, found.top),
                          _node(ids.PLAN_EDITOR, html_text(editor(texts)))),
            parts.section(2, "settles", "What it can settle", SETTLES, frozen(aim_fields(texts, own_labels)),
                          _node(ids.PLAN_ANSWER, found.answer)),
            parts.section(3, "steps", "Step by step", STEPS, _node(ids.PLAN_STEPS, found.steps)),
            parts.section(4, "keeping", "Keep and freeze", KEEPING, frozen(_keeping(kept)), html.Div(done, id=ids.PLAN_SAID)),
        ],
        className="report design-page",
        **({"data-design-at": links.plan_path(kept.token)} if kept else {}),
    )  # fmt: skip


def found_of(design: Design, forecast: Forecast) -> Found:
    """What comes of a plan that is being edited."""
    steps = [cautions_for(design), _step_actions(None), toml_fold(design), steps_table(design), ride_card(design)]
    return Found(
        top=html_text([total_line(design), profile(design)]),
        answer=html_text(answer_of(design.aim, forecast)),
        steps=html_text(steps),
    )


def kept_page(
    kept: Kept, design: Design, forecast: Forecast, *, said: Any = None, owned: bool = False
) -> html.Article:
    """A kept plan, read-only; `said` is what its owner should know now, who may also delete it."""
    held = frozen(
        _kept_actions(kept.token),
        parts.section(1, "ride", "The ride", RIDE, total_line(design), profile(design), cautions_for(design)),
        parts.section(
            2, "settles", "What it can settle", SETTLES, _aim_words(design.aim), *answer_of(design.aim, forecast)
        ),
        parts.section(3, "steps", "Step by step", STEPS, _step_actions(kept.token), toml_fold(design), steps_table(design)),
        ride_card(design, kept.stamp),
    )
    lead = "A ride plan, laid out before the ride."
    end = [frozen(html.Div(_act("Delete this plan", "delete"), className="button-row design-end"))] if owned else []
    return html.Article(
        [_front(design.title, lead, kept), said, held, *end, html.Div(id=ids.PLAN_SAID)],
        className="report design-page", **{"data-design-at": links.plan_path(kept.token)},
    )  # fmt: skip


def links_notice(owner: str, reader: str) -> html.Div:
    """Both addresses of a plan that was kept just now."""
    return html.Div(
        [
            html.P("Keep the owner link to yourself: it is shown only here and only now. Whoever opens it may change the plan "
                   "until it is frozen, and delete it. Readers get the other one."),
            *(html.P([html.Strong(f"{name}: "), html.Code(address, className="owner-path"), " ",
                      html.Button("Copy", type="button", className="quiet",
                                  **{"data-copy": address, "aria-label": f"Copy the {name.lower()}"})])
              for name, address in (("Owner link", owner), ("Reader link", reader))),
        ],
        className="notice caution",
        role="status",
    )  # fmt: skip


def _node(id_: str, text: str) -> html.Div:
    return html.Div(id=id_, **{"data-html": text})


def _front(title: str, lead: str, kept: Kept | None) -> html.Header:
    about = [html.P("A ride plan", className="overline"), html.H1(title), html.P(lead, className="lead")]
    if kept is not None:
        about.append(_state(kept))
    return html.Header(about, className="front")


def _state(kept: Kept) -> html.Dl:
    """Since when a plan is kept and frozen, and under which fingerprint."""
    facts = [("Kept", day_and_time(kept.created_utc))]
    if kept.frozen_utc:
        facts += [("Frozen", day_and_time(kept.frozen_utc)), ("SHA-256", html.Code(kept.fingerprint))]
    else:
        facts += [("Frozen", "not yet: its owner may still change it")]
    return html.Dl([part for name, words in facts for part in (html.Dt(name), html.Dd(words))], className="facts design-state")


def _aim_words(aim: Aim) -> html.P:
    point, reference = aim.point or "point not stated", aim.reference_point or "point not stated"
    words = (
        f"Claim ±{number(aim.claim_pct)} % ({point}), held against a reference of ±{number(aim.reference_claim_pct)} % "
        f"({reference}); drivetrain loss {number(aim.loss_pct[0])} to {number(aim.loss_pct[1])} %."
    )
    return html.P(unbroken(words))


def _step_actions(token: str | None) -> html.Div:
    """Taking the steps along; a draft is sent by the script, a kept plan has addresses."""
    workout, setup = "Workout for head units (FIT)", "Plan for setup.toml"
    if token is None:
        downloads = [_act(workout, "workout"), _act(setup, "toml")]
    else:
        downloads = [
            Native("a", {"href": links.plan_workout_path(token), "class": "quiet as-button", "download": True}, workout),
            Native("a", {"href": links.plan_toml_path(token), "class": "quiet as-button", "download": True}, setup),
        ]
    cards = [_act("Print the card, A5", "card-a5"), _act("Print the card, A4", "card-a4")]
    return html.Div([*downloads, *cards], className="button-row")


def _kept_actions(token: str) -> html.Div:
    use = html.A(USE, href=links.new_trial_path(token), className="primary as-button")
    copy = html.A("Make a changed copy", href=links.plan_copy_path(token), className="quiet as-button")
    return html.Div([use, copy], className="button-row")


def _keeping(kept: Kept | None) -> html.Div:
    freeze = _act("Freeze with date and hash", "freeze", primary=True)
    token, words = (links.DRAFT, "Use the draft for a new trial") if kept is None else (kept.token, USE)
    use = Native("a", {"href": links.new_trial_path(token), "class": "quiet as-button"}, words)
    if kept is None:
        return html.Div([freeze, _act("Keep without freezing", "keep"), use], className="button-row")
    acts = [freeze, _act("Save the changes", "save"), use, _act("Delete this plan", "delete")]
    return html.Div(acts, className="button-row")


def _act(words: str, act: str, *, primary: bool = False) -> Native:
    about = {"type": "button", "class": "primary" if primary else "quiet", "data-design-act": act}
    return Native("button", about, words)
