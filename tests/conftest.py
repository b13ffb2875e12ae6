"""Settings shared by all tests: property tests repeat themselves and never fail for being slow; where there is no browser, say so."""

from pathlib import Path

from hypothesis import settings

settings.register_profile("pithline", deadline=None, derandomize=True)
settings.load_profile("pithline")

CHROMIUM = Path("/usr/bin/chromium")
collect_ignore = [] if CHROMIUM.exists() else ["end_to_end/test_preview_in_browser.py", "shed/test_pages_in_browser.py"]


def pytest_terminal_summary(terminalreporter) -> None:
    """Say what was left out, however quiet pytest is asked to be."""
    if not CHROMIUM.exists():
        terminalreporter.write_line(
            "the preview and the shed's pages were not opened in a browser: chromium is not installed here"
        )
