"""The web face: pages for the phone beside the tub, and a JSON interface that says the same."""

from tubwater.web.app import create_app

__all__ = ["create_app"]
