"""What a test does with a page: watch it, wait for it, draw all of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page


class Watch:
    """What a page complained about and asked for."""

    def __init__(self, page: Page) -> None:
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.dialogs: list[str] = []
        page.on(
            "console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("dialog", lambda dialog: (self.dialogs.append(dialog.message), dialog.dismiss()))


def wait_until(page: Page, holds: str, patience: int = 180_000) -> None:
    """Wait for an expression to hold; the driver's own waiting needs eval, which the policy refuses."""
    for _ in range(patience // 50):
        if page.evaluate(holds):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never became true: {holds}")


def draw_all(page: Page) -> None:
    """Scroll through the page until every chart is live."""
    page.evaluate("document.querySelectorAll('[data-chart]').forEach((picture) => picture.scrollIntoView())")
    total = page.locator("[data-chart]").count()
    for position in range(total):
        page.locator("[data-chart]").nth(position).scroll_into_view_if_needed()
    wait_until(page, f"document.querySelectorAll('.picture.live').length === {total}")
