import importlib
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.docker.reading import FOLDER, TREE, compose, compose_text, dockerfile

COMPOSE = compose()
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
MEGABYTE = 1 << 20
SMALLEST_COMPUTER = 512 * MEGABYTE


def octets(size: str) -> int:
    return int(size.removesuffix("m")) * MEGABYTE


def test_it_holds_the_gateway_the_broker_and_the_demo() -> None:
    always = {name for name, service in SERVICES.items() if "profiles" not in service}
    demo = {name for name, service in SERVICES.items() if service.get("profiles") == ["demo"]}
    assert always == {"gateway", "broker"}
    assert demo == {"demo-decoder", "demo-network"}
    assert always | demo == set(SERVICES)


@pytest.mark.parametrize("name", SERVICES)
def test_every_service_is_held_in(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert "cap_add" not in service
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "privileged" not in service
    assert service["pids_limit"] <= 64
    assert service["restart"] == "unless-stopped"
    assert service["stop_grace_period"] == "5s"
    assert octets(service["logging"]["options"]["max-size"]) * int(service["logging"]["options"]["max-file"]) <= 16e6


def test_what_always_runs_leaves_half_of_a_small_computer_alone() -> None:
    limits = [octets(service["mem_limit"]) for service in SERVICES.values() if "profiles" not in service]
    assert sum(limits) <= SMALLEST_COMPUTER // 2
    assert all("mem_limit" in service for service in SERVICES.values())


def test_no_port_is_published_beyond_loopback() -> None:
    for service in SERVICES.values():
        for published in service.get("ports", []):
            assert published.startswith("127.0.0.1:")


def test_only_the_gateway_is_on_the_network_of_the_host() -> None:
    assert [name for name, service in SERVICES.items() if "network_mode" in service] == ["gateway"]
    assert SERVICES["gateway"]["network_mode"] == "host"


def test_no_service_runs_as_root() -> None:
    (user,) = [each.text for each in dockerfile() if each.name == "USER"]
    assert not user.startswith("0")
    for service in SERVICES.values():
        assert "build" in service or int(service["user"].partition(":")[0]) > 0


def test_a_secret_is_a_file_that_git_and_images_leave_alone() -> None:
    used = {secret for service in SERVICES.values() for secret in service.get("secrets", [])}
    assert set(COMPOSE["secrets"]) == used == {"passcode", "bus", "broker-users"}
    assert all(Path(secret["file"]).parent == Path("secrets") for secret in COMPOSE["secrets"].values())
    assert "/secrets/" in (FOLDER / ".gitignore").read_text("utf-8").splitlines()
    assert not any("environment" in service for service in SERVICES.values())


def test_the_gateway_gets_its_own_secrets_and_not_the_brokers() -> None:
    assert SERVICES["gateway"]["secrets"] == ["passcode", "bus"]
    assert SERVICES["broker"]["secrets"] == ["broker-users"]


def test_what_is_mounted_and_built_from_exists() -> None:
    made_by_the_operator = {"./policies"}
    for service in SERVICES.values():
        for volume in service.get("volumes", []):
            source = volume.partition(":")[0]
            if source.startswith("."):
                assert source in made_by_the_operator or (FOLDER / source).exists()
                assert volume.endswith(":ro")
            else:
                assert source in COMPOSE["volumes"]
        if "build" in service:
            context = (FOLDER / service["build"]["context"]).resolve()
            assert context == TREE
            assert (context / service["build"]["dockerfile"]).is_file()
            assert service["build"]["target"] in {each.stage for each in dockerfile()}


def test_the_base_of_the_images_is_the_dockerfiles_own_unless_told_otherwise() -> None:
    assert f"BASE={SERVICES['gateway']['build']['args']['BASE']}" == dockerfile()[0].text


def test_the_gateway_finds_its_station_file_and_its_data_where_the_image_has_them() -> None:
    targets = [volume.split(":")[1] for volume in SERVICES["gateway"]["volumes"]]
    assert targets == ["/etc/stile/station.yaml", "/etc/stile/policies", "/var/lib/stile"]


def test_gateway_and_broker_have_a_health_check() -> None:
    assert "healthcheck" not in SERVICES["gateway"]  # the image's is in force
    assert [each.stage for each in dockerfile() if each.name == "HEALTHCHECK"] == ["gateway"]
    assert SERVICES["broker"]["healthcheck"]["test"][0] == "CMD-SHELL"


@pytest.mark.parametrize("name", ["demo-decoder", "demo-network"])
def test_the_demo_runs_what_there_is_on_the_port_that_is_published(name: str) -> None:
    module, *arguments = SERVICES[name]["command"]
    assert callable(importlib.import_module(module).main)
    port = arguments[arguments.index("--port") + 1]
    assert arguments[arguments.index("--host") + 1] == "0.0.0.0"
    assert SERVICES[name]["ports"] == [f"127.0.0.1:{port}:{port}"]


def test_the_demo_needs_nothing_that_the_image_does_not_install() -> None:
    """The image has no extras: what the demo's two services import must do without."""
    extras = tomllib.loads((TREE / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    names = {re.split(r"[^\w.-]", each)[0] for each in extras["broker"]}
    for path in (TREE / "demo/decoder.py", TREE / "demo/network_server.py", *(TREE / "demo/regatta").glob("*.py")):
        imported = set(re.findall(r"^(?:from|import) (\w+)", path.read_text("utf-8"), re.MULTILINE))
        assert not imported & names


def test_the_places_for_a_decoder_work_once_they_are_filled_in() -> None:
    text = compose_text().replace("image: ...", "image: decoder")
    text = re.sub(
        r"^( +)# (decoder:|  <<:|  image:|  devices:|  ports:|  mem_limit:)", r"\1\2", text, flags=re.MULTILINE
    )
    text = re.sub(r"^( +)# (- /run/decoder|devices:|group_add:)", r"\1\2", text, flags=re.MULTILINE)
    filled_in = yaml.safe_load(text)["services"]
    assert filled_in["decoder"]["read_only"] is True
    assert filled_in["decoder"]["ports"] == ["127.0.0.1:7581:7581"]
    assert filled_in["gateway"]["devices"] == ["/dev/ttyUSB0"]
    assert "/run/decoder:/run/decoder:ro" in filled_in["gateway"]["volumes"]


def test_services_and_station_file_agree_on_every_address() -> None:
    station = yaml.safe_load((FOLDER / "station.yaml").read_text("utf-8"))
    published = {port.rpartition(":")[0] for service in SERVICES.values() for port in service.get("ports", [])}
    asked = [station["receivers"][0]["from"], *station["uplink"]["servers"], station["bus"]["broker"]]
    assert {address.partition("://")[2] for address in asked} == published
    assert station["uplink"]["passcode_file"] == "/run/secrets/passcode"
    assert station["bus"]["password_file"] == "/run/secrets/bus"
