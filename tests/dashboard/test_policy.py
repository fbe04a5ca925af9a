"""The content-security policy in a real browser: what a page might be made to do, it does not."""

from __future__ import annotations

import pytest
from tests.dashboard.visiting import Visit

pytestmark = pytest.mark.browser

ATTACK = """async () => {
    const seen = [];
    document.addEventListener("securitypolicyviolation", (e) => seen.push(e.effectiveDirective));
    const add = (tag, fields) => document.body.appendChild(Object.assign(document.createElement(tag), fields));
    add("script", {textContent: "window.owned = 'script'"});
    add("script", {src: "http://127.0.0.2:9/theirs.js"});
    const button = add("button", {});
    button.setAttribute("onclick", "window.owned = 'attribute'");
    button.click();
    add("img", {src: "http://127.0.0.2:9/leak.png"});
    add("iframe", {src: "http://127.0.0.2:9/"});
    add("base", {href: "http://127.0.0.2:9/"});
    await fetch("http://127.0.0.2:9/").catch(() => null);
    try { new WebSocket("ws://127.0.0.2:9/"); } catch (refused) { }
    const end = performance.now() + 20000;
    const wanted = ["script-src-elem", "script-src-attr", "img-src", "frame-src", "base-uri", "connect-src"];
    while (!wanted.every((one) => seen.includes(one)) && performance.now() < end)
        await new Promise((soon) => requestAnimationFrame(soon));
    return {missing: wanted.filter((one) => !seen.includes(one)), owned: window.owned ?? null};
}"""


def test_nothing_of_somebody_elses_runs_loads_or_leaves(visit: Visit) -> None:
    page = visit.open("/debrief")
    assert page.evaluate(ATTACK) == {"missing": [], "owned": None}
    assert not [url for url in visit.requests if "127.0.0.2" in url and url.startswith("ws")]
