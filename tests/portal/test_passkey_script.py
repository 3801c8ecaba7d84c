"""Pressing twice for a passkey: the browser asks for one at a time."""

from __future__ import annotations

from playwright.sync_api import Browser

from tests.scripts import run, scripts_page


def test_a_passkey_is_asked_for_once_and_no_trouble_is_told_meanwhile(browser: Browser) -> None:
    with scripts_page(browser) as page:
        told = run(
            page,
            """
            document.body.innerHTML = `<form data-passkey="get" data-options-url="/options" hidden>
              <input name="credential"><p data-passkey-error="no passkey"></p><button>p</button>
                </form>`;
            const waiting = [];
            Object.defineProperty(navigator, "credentials", { value: {
              get: () => (waiting.length ? Promise.reject(new Error("one at a time"))
                : new Promise((good, bad) => waiting.push({ good, bad }))) } });
            window.PublicKeyCredential ??= class {};
            await load("portal/passkey.js");
            const press = async () => {
              find("button").click();
              await settle();
              await asked[0]?.answer({ publicKey: { challenge: "AAAA" } });
            };
            await press();
            await press();
            const meanwhile = find("p").textContent;
            waiting.pop().bad(new Error("the person said no"));
            await settle();
            const said = find("p").textContent;
            await press();
            return [meanwhile, said, waiting.length];
            """,
        )
    assert told == ["", "no passkey", 1]
