"""The station file: every check and default of every key, each once, and what each part of the gateway is made from.

| file | holds |
| --- | --- |
| `places.py` | addresses, topics and callsigns as they are written |
| `station.py` | `station:` and `receivers:` |
| `uplink.py`, `bus.py`, `club.py` | `uplink:`, `bus:` and `club:` |
| `home.py` | `lines:`, `web:` and `journal:` |
| `whole.py` | the whole file, and what its sections must be to one another |
| `secret.py` | secrets, from the files that are named |
| `station_file.py` | a file is read; what the parts are told is made from it |
| `policy_files.py` | finds and reads the policy that a station file names |
| `club_file.py` | what a club's posts and hubs are made from |

A section's `options` makes a small frozen value, which its part takes as it is: it has no second default and makes no
second check. So whatever is read without a problem can be run.
"""

from gateway.documents import DocumentError, Problem
from gateway.documents import Place as DocumentPlace
from gateway.settings.bus import MQTT_PORT, BusSettings
from gateway.settings.club import ClubSettings
from gateway.settings.home import LINES_PORT, WEB_PORT
from gateway.settings.secret import PASSCODE_VARIABLE, RECEIVE_ONLY_PASSCODE, read_token
from gateway.settings.station_file import (
    STATION_FILE_NAME,
    StationFile,
    StationText,
    load,
    load_text,
    read,
    with_secrets,
)
from gateway.settings.whole import Settings

__all__ = [
    "LINES_PORT",
    "MQTT_PORT",
    "PASSCODE_VARIABLE",
    "RECEIVE_ONLY_PASSCODE",
    "STATION_FILE_NAME",
    "WEB_PORT",
    "BusSettings",
    "ClubSettings",
    "DocumentError",
    "DocumentPlace",
    "Problem",
    "Settings",
    "StationFile",
    "StationText",
    "load",
    "load_text",
    "read",
    "read_token",
    "with_secrets",
]
