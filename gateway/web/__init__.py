"""The web: what is heard, as a page, a JSON interface, a stream of events and metrics. It only ever shows.

`options` and `sources` are what the service fills in, and cost next to nothing to import; `server` brings the HTTP
library with it, so import it only where a station file asks for `web:`. README.md, beside this, says how to use it.
"""
