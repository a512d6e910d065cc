"""By what the embedded broker knows the gateway. It exists in this process alone, and costs nothing to load."""

import secrets

OWN_USERNAME = "gateway"
OWN_PASSWORD = secrets.token_urlsafe(32)
