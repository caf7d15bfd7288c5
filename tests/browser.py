"""Pages in a real Chromium, quiet and alone."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

#: A browser under test calls nobody: not for updates, not for anything.
QUIET = [
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "/snap/bin/chromium",
    "/opt/google/chrome/chrome",
)
BROWSER = next((found for name in NAMES if (found := shutil.which(name))), None)


def launched(tool: Any, *more: str) -> Any:
    """Start the browser, with more options where a test needs them."""
    # Chromium's own walls do not stand for the superuser of a container.
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    return tool.chromium.launch(executable_path=BROWSER, args=[*QUIET, *more, *root])


class Seen:
    """A page that is open, and all it complained of or asked for."""

    def __init__(self, browser: Any, path: Path, script: str = "", **how: Any) -> None:
        self.context = browser.new_context(accept_downloads=True, **how)
        self.page = self.context.new_page()
        if script:
            self.page.add_init_script(script)
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.faults.append(message.text))
        self.page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        self.page.on("dialog", lambda dialog: self.faults.append(dialog.message))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def __enter__(self) -> Seen:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()
