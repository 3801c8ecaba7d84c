"""How far a job is, while answers come late: one round of questions at a time, and what a person
pressed is not undone by an answer from before."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.scripts import run, scripts_page

JOB = """
    document.body.innerHTML = `<div data-job="/jobs/1" data-job-state="running">
      <span data-job-words></span>
      <progress></progress><form action="/jobs/1"><button name="do" value="cancel">cancel</button>
      <button name="do" value="retry" hidden>again</button></form></div>`;
    await load("portal/job-progress.js");
    const ended = [];
    document.addEventListener("job:ended", ({ detail }) => ended.push(detail.state));
    const job = (state) => ({ state, words: state, progress: 0.5, can_cancel: state === "running",
      can_retry: false });
    const words = () => find("[data-job-words]").textContent;
"""


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    with scripts_page(browser) as page:
        yield page


def test_an_answer_from_before_a_press_does_not_bring_back_what_was_stopped(page: Page) -> None:
    told = run(
        page,
        JOB
        + """
        await until(() => asked.length);
        const [early] = asked;
        find("button").click();
        find("button").click(); // once more: it is the same press
        await until(() => asked.length > 1);
        const count = asked.length;
        await asked.find(({ method }) => method === "POST").answer(job("cancelled"));
        await early.answer(job("running"));
        await settle(50);
        return [count, words(), ended, asked.length];
        """,
    )
    assert told == [2, "cancelled", ["cancelled"], 0]


def test_coming_back_to_a_page_does_not_ask_ever_more_often(page: Page) -> None:
    page.clock.install()
    run(page, JOB + "window.asked = asked; window.job = job;")
    page.clock.resume()
    page.wait_for_function("window.asked.length > 0")
    page.evaluate(
        """() => { for (let n = 0; n < 5; n += 1)
          document.dispatchEvent(new Event("visibilitychange")); }"""
    )
    page.wait_for_timeout(100)
    assert page.evaluate("window.asked.length") == 1
    page.evaluate("window.asked[0].answer(window.job('running'))")
    page.clock.fast_forward(1100)
    page.wait_for_timeout(100)
    assert page.evaluate("window.asked.length") == 1


def test_a_press_that_cannot_go_out_by_itself_goes_with_the_form(page: Page) -> None:
    """And the form says which button it was."""
    told = run(
        page,
        JOB
        + """
        let sent = null;
        HTMLFormElement.prototype.submit = function submit() { sent = [...new FormData(this)]; };
        await until(() => asked.length);
        find("button").click();
        await until(() => asked.some(({ method }) => method === "POST"));
        await asked.find(({ method }) => method === "POST").fail();
        await settle();
        return sent;
        """,
    )
    assert told == [["do", "cancel"]]
