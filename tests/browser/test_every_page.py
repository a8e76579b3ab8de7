"""Every page of the manager at desk and phone size: whole, named, and without errors.

Names of fields and buttons, single titles and headings in order are WCAG 2.2, 1.3.1,
2.4.6 and 4.1.2; no sideways scroll is 1.4.10 (all from memory).
"""

import pytest

from tests.browser.test_pages import SIZES, sideways, sign_in
from tests.factories.people import AccountFactory
from tests.test_sweeps import GET, PAGES, things

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_PAGES = ("-pdf", "-csv", "-written", "-news")
"""Ends of names of what is a file or a piece of a page."""

WRONG = """() => {
  const wrong = [];
  const ids = [...document.querySelectorAll("[id]")].map(one => one.id);
  wrong.push(...ids.filter((id, n) => ids.indexOf(id) !== n).map(id => "twice " + id));
  for (const one of document.querySelectorAll("input, select, textarea")) {
    const named = one.labels?.length || one.ariaLabel || one.type === "hidden";
    if (!named) wrong.push("no label: " + one.name);
  }
  for (const one of document.querySelectorAll("a[href], button")) {
    const named = one.textContent.trim() || one.ariaLabel;
    if (!named && one.checkVisibility()) wrong.push("no name: " + one.outerHTML);
  }
  const titles = document.querySelectorAll("h1").length;
  if (titles !== 1) wrong.push(titles + " titles");
  let last = 1;
  for (const one of document.querySelectorAll("main :is(h1, h2, h3, h4)")) {
    const level = Number(one.tagName[1]);
    if (level > last + 1) wrong.push("heading skips: " + one.textContent);
    last = level;
  }
  return wrong;
}"""


@SIZES
def test_every_page_is_whole_and_named(
    chromium, live_server, size: dict[str, int]
) -> None:
    world = things()
    account = AccountFactory(manager=True, person=None)
    page, errors = sign_in(chromium, live_server, size, account)
    names = [one for one in PAGES if GET[one][-1] == 200 and not one.endswith(NO_PAGES)]
    found = {}
    for name in names:
        errors.clear()
        page.goto(live_server.url + world[name], wait_until="load")
        wrong = page.evaluate(WRONG)
        if (wide := sideways(page)) > 0:
            wrong.append(f"{wide} px too wide")
        left = ("htmx:sendAbort", "htmx:afterRequest")
        wrong += [one for one in errors if not one.startswith(left)]
        if wrong:
            found[name] = wrong

    assert len(names) > 50
    assert found == {}
    page.context.close()
