"""A service that asks for tokens: signing in, what a token may do on each page, signing out."""

from __future__ import annotations

import sqlite3
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from tests.dashboard.flying import RECORDING, plan
from tests.dashboard.visiting import PATIENCE_MS, Visit
from tests.tools.running import COMMAND, RunningService

pytestmark = pytest.mark.browser


def token(folder: Path, name: str, role: str) -> str:
    made = subprocess.run(
        [*COMMAND, "token", "add", name, f"--role={role}", f"--data={folder}"],
        capture_output=True,
        text=True,
        check=True,
    )
    return made.stdout.strip()


@pytest.fixture(scope="module")
def tokens(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("guarded") / "data"
    return {"data": str(folder), **{role: token(folder, f"{role} desk", role) for role in ("control", "watch")}}


@pytest.fixture(scope="module")
def guarded(tokens: dict[str, str]) -> Iterator[RunningService]:
    with RunningService(Path(tokens["data"]), host="0.0.0.0") as running:
        as_control = {"Authorization": f"Bearer {tokens['control']}"}
        running.ask("POST", "/v1/sorties?id=guarded", json=plan(), headers=as_control)
        yield running


@pytest.fixture
def visit(browser: Browser, guarded: RunningService) -> Iterator[Visit]:
    visiting = Visit(browser, guarded.base)
    yield visiting
    visiting.close()


def sign_in(visit: Visit, secret: str) -> None:
    dialog = visit.page.get_by_role("dialog", name="Sign in")
    expect(dialog).to_be_visible()
    dialog.get_by_label("Token").fill(secret)
    dialog.get_by_role("button", name="Sign in").click()


def test_nothing_is_shown_before_signing_in_and_a_wrong_token_is_told(visit: Visit, tokens: dict[str, str]) -> None:
    page = visit.open("/debrief")
    dialog = page.get_by_role("dialog", name="Sign in")
    expect(dialog).to_be_visible()
    expect(page.locator("#debrief-body")).not_to_contain_text("guarded")
    assert visit.serious_faults() == []
    sign_in(visit, "000000000000.not-a-token")
    expect(dialog.get_by_role("alert")).to_contain_text("unknown, expired or revoked")
    sign_in(visit, tokens["watch"])
    expect(page.locator("#debrief-body")).to_contain_text("guarded")
    assert page.evaluate("() => document.cookie") == ""


def test_control_works_every_page_and_signs_out(visit: Visit, tokens: dict[str, str], guarded: RunningService) -> None:
    page = visit.open(f"/plan?recording={RECORDING}")
    sign_in(visit, tokens["control"])
    expect(page.locator("#shell-session")).to_contain_text("control desk")
    expect(page.locator("#plan-state")).to_have_text("checked, no fault")
    page.click("#plan-create")
    expect(page.locator("#plan-said")).to_contain_text("created")
    visit.open("/?sortie=guarded")
    page.keyboard.press("n")
    page.locator("#w-note input").fill("signed in")
    page.keyboard.press("Enter")
    expect(page.locator("#w-mark-answer")).to_contain_text("Note: recorded")
    marks = guarded.ask(
        "GET", "/v1/sorties/guarded/events?kind=mark", headers={"Authorization": f"Bearer {tokens['control']}"}
    )["events"]
    assert marks[0]["data"]["by"] == "engineer (control desk)"
    page.click("#sign-out")
    expect(page.get_by_role("dialog", name="Sign in")).to_be_visible()


def test_a_token_that_may_only_watch_sees_everything_and_changes_nothing(visit: Visit, tokens: dict[str, str]) -> None:
    page = visit.open("/?sortie=guarded")
    sign_in(visit, tokens["watch"])
    expect(page.locator("#shell-session")).to_contain_text("may only watch")
    expect(page.locator("#w-origin")).to_have_text("NO DATA YET")
    page.keyboard.press("c")
    expect(page.locator("#w-mark-answer")).to_contain_text("your token may only watch")
    page.keyboard.press("t")
    expect(page.locator("#w-control")).not_to_contain_text("(you)")
    page.evaluate("() => spinfloor.link.send({type: 'control', action: 'take', name: 'pretender'})")
    expect(page.locator("#w-mark-answer")).to_contain_text("Expected the role control")
    visit.open(f"/rehearse?recording={RECORDING}")
    page.click("#rehearse-start")
    expect(page.locator("#rehearse-said")).to_contain_text("the role control")


def test_a_restart_of_the_service_keeps_the_session_in_every_tab(
    visit: Visit, browser: Browser, tokens: dict[str, str], guarded: RunningService
) -> None:
    page = visit.open("/?sortie=guarded")
    sign_in(visit, tokens["control"])
    expect(page.locator("#w-origin")).to_have_text("NO DATA YET")
    guarded.kill()
    expect(page.locator("#w-origin")).to_have_text("SERVER LOST")
    guarded.start()
    expect(page.locator("#w-origin")).to_have_text("NO DATA YET")
    expect(page.get_by_role("dialog", name="Sign in")).to_have_count(0)
    second = page.context.new_page()  # another tab of the same browser
    second.set_default_timeout(PATIENCE_MS)
    second.goto(f"{guarded.base}/?sortie=guarded")
    expect(second.locator("#shell-session")).to_contain_text("control desk")
    expect(second.locator("#w-origin")).to_have_text("NO DATA YET")
    second.keyboard.press("c")
    expect(second.locator("#w-mark-answer")).to_contain_text("Controls applied: recorded")
    second.close()
    page.click("#sign-out")
    expect(page.get_by_role("dialog", name="Sign in")).to_be_visible()


def test_a_session_that_ends_while_watching_hides_nothing_and_takes_no_key(
    visit: Visit, tokens: dict[str, str], guarded: RunningService
) -> None:
    page = visit.open("/?sortie=guarded")
    sign_in(visit, tokens["control"])
    expect(page.locator("#w-control")).to_contain_text("watching")
    with sqlite3.connect(Path(tokens["data"]) / "spinfloor.sqlite3", timeout=20.0) as database:
        database.execute("UPDATE sessions SET expires_ns = created_ns")
        database.commit()
    dialog = page.get_by_role("dialog", name="Sign in")
    expect(dialog).to_contain_text("Watching goes on")
    assert not dialog.evaluate("node => node.matches(':modal')")
    glance = page.locator(".glance").bounding_box()
    box = dialog.bounding_box()
    assert glance is not None
    assert box is not None
    assert box["y"] > glance["y"] + glance["height"]  # beside what must be read in two seconds
    page.keyboard.press("b")
    expect(page.locator("#w-mark-answer")).to_contain_text("Abandon called NOT RECORDED")
    expect(dialog.get_by_label("Token")).to_have_value("")
    assert visit.serious_faults() == []
    sign_in(visit, tokens["control"])
    expect(dialog).to_have_count(0)
    page.keyboard.press("c")
    expect(page.locator("#w-mark-answer")).to_contain_text("Controls applied: recorded")


def test_pages_work_over_tls_with_a_certificate_nobody_signed(
    browser: Browser, tokens: dict[str, str], tmp_path: Path
) -> None:
    certificate, key = tmp_path / "certificate.pem", tmp_path / "key.pem"
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=control-room.test"]
    subprocess.run([*made, f"-keyout={key}", f"-out={certificate}"], check=True, capture_output=True)
    data = tmp_path / "data"
    secret = token(data, "desk", "control")
    options = ("--tls-certificate", str(certificate), "--tls-key", str(key))
    with RunningService(data, *options, host="0.0.0.0") as running:
        as_control = {"Authorization": f"Bearer {secret}"}
        running.ask("POST", "/v1/sorties?id=over-tls", json=plan(), headers=as_control)
        visiting = Visit(browser, running.base)
        page = visiting.open("/debrief")
        sign_in(visiting, secret)
        expect(page.locator("#debrief-body")).to_contain_text("over-tls")
        visiting.open("/?sortie=over-tls")
        expect(page.locator("#w-origin")).to_have_text("NO DATA YET")
        assert {cookie.get("secure") for cookie in page.context.cookies()} == {True}
        visiting.close()
