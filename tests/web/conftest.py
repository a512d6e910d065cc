"""What the tests of the web may ask for."""

from tests.web.browser import browser

__all__ = ["browser"]
