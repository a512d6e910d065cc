"""The web: what is heard, as a page, a JSON interface, a stream of events and metrics. It only ever shows.

`options` costs next to nothing to import; `sources`, which the service fills in, brings the journal with it, and
`server` the HTTP library, so import them only where a station file asks for `web:`. README.md says how to use it.

| file | holds |
| --- | --- |
| `connection.py` | the connections that requests come over: bounded in number |
| `event_log.py` | the events of this run, newest last and bounded: what a stream that was cut off can catch up with |
| `event_stream.py` | the streams of server-sent events: every open one gets what it has not had |
| `exposition.py` | metrics as text, in the Prometheus exposition format 0.0.4: figures in, octets out |
| `geojson.py` | stations as GeoJSON features (RFC 7946) |
| `guard.py` | who may ask for what: every request passes here before anything else is done about it |
| `guesses.py` | wrong tokens: whoever shows one after the other is asked to wait, longer each time |
| `handlers.py` | what is answered to each request |
| `heard_memory.py` | the frames heard last, newest last and bounded: what `/api/heard` looks back at |
| `knowledge.py` | what the gateway knows of the past, for its web: the journal is asked in a thread of its own |
| `metrics.py` | the metrics of a post: what its health says, in the names and units that Prometheus expects |
| `openapi.py` | the OpenAPI document of the HTTP interface: the paths |
| `options.py` | what the web is told: where it listens, who may read it, and how much may wait for whom |
| `page_files.py` | the files of the page: what a browser loads of it, each under its name |
| `past.py` | what is answered about the past: the antenna's reach, a station's own view, one frame and why, alerts |
| `places.py` | who may hold a connection: so many in all, fewer for one address |
| `policy.py` | the policy in force as it is shown: its texts |
| `problem.py` | what went wrong with a request, as a problem object (RFC 9457) |
| `query.py` | what a query says: each of its words once |
| `server.py` | the web as a whole: takes what the house should see, without ever waiting |
| `session.py` | the session of a page: a signed date in a cookie, made from the token and nothing else |
| `small_screens.py` | the picture for small screens, `/panel.svg` and `/panel.png`, drawn when it is asked for |
| `sources.py` | what the web shows beside what it is offered: given in by the service |
| `turns.py` | long work in short turns: many objects are encoded for one answer without keeping anybody else waiting |
"""
