"""Runs a home-automation hub from its package and prints every state that it has, each as a line of JSON.

For `hub.py`, by the hub's own Python, in which nothing of ours is installed. Arguments: a folder with a
`configuration.yaml`, and the broker's port. It ends when its standard input does.
"""

import asyncio
import json
import sys
from pathlib import Path
from typing import Any

import yaml
from homeassistant import bootstrap, const, core, loader  # type: ignore[import-not-found] # in the hub's Python only


def show(entity: str, state: core.State | None) -> None:
    """Print the state of an entity; null for one that is gone."""
    told = None if state is None else {"state": state.state, "attributes": dict(state.attributes)}
    print(json.dumps({"entity": entity, "now": told}, default=str), flush=True)


def changed(event: core.Event) -> None:
    """An entity has come, changed or gone."""
    show(event.data["entity_id"], event.data["new_state"])


async def main(configuration: dict[str, Any], folder: str, port: int) -> None:
    """Run the hub."""
    hub = core.HomeAssistant(folder)
    hub.config.skip_pip = True
    loader.async_setup(hub)
    if await bootstrap.async_from_config_dict(configuration, hub) is None:
        sys.exit("the hub does not start")
    hub.bus.async_listen(const.EVENT_STATE_CHANGED, core.callback(changed))
    await hub.async_start()
    flow = await hub.config_entries.flow.async_init("mqtt", context={"source": "user"})
    await hub.config_entries.flow.async_configure(flow["flow_id"], {"broker": "127.0.0.1", "port": port})
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await hub.async_stop(force=True)


if __name__ == "__main__":
    text = Path(sys.argv[1], "configuration.yaml").read_text("utf-8")
    asyncio.run(main(yaml.safe_load(text), sys.argv[1], int(sys.argv[2])))
