"""A page with everything it asked for and complained of."""

from pathlib import Path

from playwright.sync_api import Browser, Page

PATIENCE_MS = 90_000  # for what comes in a moment on a quiet machine: other work may share the cores
VENDOR = Path(__file__).parent / "vendor"


class Visit:
    """A page with everything it asked for and complained of."""

    def __init__(self, browser: Browser, base: str, width: int = 1280, height: int = 720) -> None:
        # A service of the tests has a certificate of its own making.
        self.context = browser.new_context(viewport={"width": width, "height": height}, ignore_https_errors=True)
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.base = base
        self.errors: list[str] = []
        self.requests: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda said: self.errors.append(said.text) if said.type == "error" else None)
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("websocket", lambda socket: self.requests.append(socket.url))

    def close(self) -> None:
        """With every tab."""
        self.context.close()

    def open(self, path: str = "/") -> Page:
        self.page.goto(self.base + path)
        self.page.wait_for_selector("#page")
        return self.page

    def serious_faults(self) -> list[str]:
        """What axe-core finds that is serious or critical, as readable lines."""
        # Evaluated, not added as a script: the pages' own policy refuses scripts that are not theirs.
        self.page.evaluate((VENDOR / "axe" / "axe.min.js").read_text(encoding="utf-8") + "; 0")
        found = self.page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
        return [
            f"{fault['id']}: {node['target']} {node.get('failureSummary', '')}"
            for fault in found["violations"]
            if fault["impact"] in ("serious", "critical")
            for node in fault["nodes"]
        ]
