"""No page breaks a rule of axe-core that its makers call serious or critical. Referee: axe-core's rules for WCAG 2.2 A and AA.

https://github.com/dequelabs/axe-core, as the package axe-playwright-python carries it. In light and dark, on a desk and a phone.
"""

from __future__ import annotations

import pytest
from driving import DESK, PHONE
from offline_pages import alone
from open_trials import boathouse
from page_list import MEANT, NAMES, stops

axe = pytest.importorskip("axe_playwright_python.base", reason="axe-playwright-python is not installed: pip install -e .[test]")

WORTH_FAILING = ("serious", "critical")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RULES = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]}
COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast"]}, "resultTypes": ["violations"]}
BOXES = RULES | {"rules": {"color-contrast": {"enabled": False}}}
# the phone has the desk's colours and boxes of its own
LOOKS = ((DESK, "light", RULES), (DESK, "dark", COLOURS), (PHONE, "dark", BOXES))
# Drawings carry their words beside them, and no rule is about their thousands of marks, which axe-core lays out all the same.
NO_DRAWINGS = ".main-svg { display: none !important; }"


@pytest.fixture(scope="module")
def listed(site):
    return stops(site)


def broken_rules(page) -> list[str]:
    """One line for each element that breaks a rule: where, which rule, why."""
    page.evaluate("document.querySelectorAll('details:not([open])').forEach(fold => { fold.open = true; })")
    page.add_style_tag(content=NO_DRAWINGS)
    page.evaluate(axe.AXE_SCRIPT)
    found = []
    for size, scheme, rules in LOOKS:
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        page.wait_for_timeout(250)
        for rule in page.evaluate("rules => axe.run(rules)", rules)["violations"]:
            if rule["impact"] in WORTH_FAILING:
                at = f"{size['width']} px, {scheme}: {rule['id']}"
                found += [f"{at} at {node['target']}: {node['failureSummary']}" for node in rule["nodes"]]
    return found


@pytest.mark.parametrize("name", [name for name in NAMES if name != "long names"])  # to axe-core a trial like any other
def test_no_serious_violation(open_page, listed, watched, name):
    watched.expected = MEANT.get(name, ())
    page = open_page(listed[name].path, bypass_csp=True)
    listed[name].ready(page)
    found = broken_rules(page)
    assert found == [], "\n".join(found[:20])


def test_no_serious_violation_in_the_report_in_one_file(chromium, tmp_path):
    with alone(chromium, tmp_path, boathouse(), bypass_csp=True) as page:
        assert broken_rules(page) == []


def test_the_rules_do_find_something(open_page):
    """What a page must not have is found where it is put: the test above is not deaf."""
    page = open_page("/", bypass_csp=True)
    page.wait_for_selector("main h1")
    page.evaluate("document.querySelector('main').insertAdjacentHTML('beforeend', '<button></button>')")
    assert any("button-name" in line for line in broken_rules(page))
