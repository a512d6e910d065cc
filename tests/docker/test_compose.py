import importlib
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.docker.reading import FOLDER, TREE, compose, compose_text, dockerfile
from tests.docker.test_set_up import set_up

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
    assert always | demo | {"setup"} == set(SERVICES)
    assert SERVICES["setup"]["profiles"] == ["setup"]


@pytest.mark.parametrize("name", SERVICES)
def test_every_service_is_held_in(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service.get("cap_add") == (["CHOWN", "DAC_READ_SEARCH"] if name == "setup" else None)
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "privileged" not in service
    assert service["pids_limit"] <= 64
    assert service["restart"] == ("no" if name == "setup" else "unless-stopped")
    assert service["stop_grace_period"] == "5s"
    assert octets(service["logging"]["options"]["max-size"]) * int(service["logging"]["options"]["max-file"]) <= 16e6


def test_what_always_runs_leaves_half_of_a_small_computer_alone() -> None:
    limits = [octets(service["mem_limit"]) for service in SERVICES.values() if "profiles" not in service]
    assert sum(limits) <= SMALLEST_COMPUTER // 2
    assert all("mem_limit" in service for service in SERVICES.values())


def test_all_are_on_the_network_of_the_host_and_listen_on_its_loopback_alone() -> None:
    assert {service["network_mode"] for name, service in SERVICES.items() if name != "setup"} == {"host"}
    assert SERVICES["setup"]["network_mode"] == "none"
    assert not any("ports" in service for service in SERVICES.values())
    listening = re.findall(r"^listener (.*)$", (FOLDER / "mosquitto.conf").read_text("utf-8"), re.MULTILINE)
    assert listening == ["1883 127.0.0.1"]


def test_no_service_but_the_one_that_gives_secrets_away_runs_as_root() -> None:
    users = [each.text for each in dockerfile() if each.name == "USER"]
    assert not any(user.startswith("0") for user in users)
    assert [name for name, service in SERVICES.items() if service.get("user", "").startswith("0:")] == ["setup"]


def test_a_secret_is_on_a_volume_that_its_own_container_alone_reads() -> None:
    held = {
        name: [each for each in service.get("volumes", []) if "secrets-of-" in each]
        for name, service in SERVICES.items()
    }
    assert held.pop("setup") == ["secrets-of-gateway:/secrets/gateway", "secrets-of-broker:/secrets/broker"]
    assert held.pop("gateway") == ["secrets-of-gateway:/run/secrets:ro"]
    assert held.pop("broker") == ["secrets-of-broker:/run/secrets:ro"]
    assert not any(held.values())
    assert "secrets" not in COMPOSE
    assert not any("environment" in service for service in SERVICES.values())


def test_no_volume_has_a_name_that_anothers_begins_with() -> None:
    """Podman takes a beginning for the name, where there is one such volume (its manual, podman-volume-inspect(1))."""
    names = list(COMPOSE["volumes"])
    assert len(names) == 4
    assert [(one, other) for one in names for other in names if one != other and other.startswith(one)] == []


def test_what_is_set_up_is_what_the_settings_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    station = yaml.safe_load((FOLDER / "station.yaml").read_text("utf-8"))
    broker = (FOLDER / "mosquitto.conf").read_text("utf-8")
    files = {*re.findall(r"/run/secrets/(\w+)$", broker, re.MULTILINE)}
    files |= {Path(station["uplink"]["passcode_file"]).name, Path(station["bus"]["password_file"]).name}
    assert set_up(tmp_path, monkeypatch) == 0
    assert {path.name for path in tmp_path.glob("*/*")} == files


def test_what_is_mounted_and_built_from_exists() -> None:
    for service in SERVICES.values():
        for volume in service.get("volumes", []):
            source = volume.partition(":")[0]
            if source.startswith("."):
                assert (FOLDER / source).exists()
                assert volume.endswith(":ro")
            else:
                assert source in COMPOSE["volumes"]
        if "build" in service:
            context = (FOLDER / service["build"]["context"]).resolve()
            assert context == TREE
            assert (context / service["build"]["dockerfile"]).is_file()
            assert service["build"]["target"] in {each.stage for each in dockerfile()}


def test_the_base_of_the_images_is_the_dockerfiles_own_unless_told_otherwise() -> None:
    for service in SERVICES.values():
        assert f"BASE={service['build']['args']['BASE']}" == dockerfile()[0].text
    assert "${BASE:-" in (FOLDER / "compose.yaml").read_text("utf-8")


def test_the_gateway_finds_its_station_file_and_its_data_where_the_image_has_them() -> None:
    targets = [volume.split(":")[1] for volume in SERVICES["gateway"]["volumes"]]
    assert targets == ["/etc/stile/station.yaml", "/run/secrets", "/var/lib/stile"]


def test_gateway_and_broker_have_a_health_check() -> None:
    assert "healthcheck" not in SERVICES["gateway"]  # the image's is in force
    assert [each.stage for each in dockerfile() if each.name == "HEALTHCHECK"] == ["gateway"]
    assert SERVICES["broker"]["healthcheck"]["test"][0] == "CMD-SHELL"


@pytest.mark.parametrize("name", ["demo-decoder", "demo-network"])
def test_the_demo_runs_what_there_is_on_loopback(name: str) -> None:
    module, *arguments = SERVICES[name]["command"]
    assert callable(importlib.import_module(module).main)
    assert arguments[arguments.index("--host") + 1] == "127.0.0.1"


def test_the_demo_needs_nothing_that_the_image_does_not_install() -> None:
    """The image has no extras: what the demo's two services import must do without."""
    extras = tomllib.loads((TREE / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    names = {re.split(r"[^\w.-]", each)[0] for each in extras["broker"]}
    for path in (TREE / "demo/decoder.py", TREE / "demo/network_server.py", *(TREE / "demo/regatta").glob("*.py")):
        imported = set(re.findall(r"^(?:from|import) (\w+)", path.read_text("utf-8"), re.MULTILINE))
        assert not imported & names


def test_the_places_for_a_decoder_work_once_they_are_filled_in() -> None:
    text = compose_text().replace("image: ...", "image: decoder")
    text = re.sub(r"^( +)# (decoder:|  <<:|  image:|  devices:|  mem_limit:)", r"\1\2", text, flags=re.MULTILINE)
    text = re.sub(r"^( +)# (- /run/decoder|- \./policies|devices:|group_add:)", r"\1\2", text, flags=re.MULTILINE)
    filled_in = yaml.safe_load(text)["services"]
    assert filled_in["decoder"]["read_only"] is True
    assert filled_in["decoder"]["network_mode"] == "host"
    assert filled_in["gateway"]["devices"] == ["/dev/ttyUSB0"]
    assert "/run/decoder:/run/decoder:ro" in filled_in["gateway"]["volumes"]
    assert "./policies:/etc/stile/policies:ro" in filled_in["gateway"]["volumes"]


def test_services_and_station_file_agree_on_every_address() -> None:
    station = yaml.safe_load((FOLDER / "station.yaml").read_text("utf-8"))
    demo = [SERVICES[name]["command"] for name in ("demo-decoder", "demo-network")]
    listening = {f"127.0.0.1:{arguments[arguments.index('--port') + 1]}" for arguments in demo} | {"127.0.0.1:1883"}
    asked = [station["receivers"][0]["from"], *station["uplink"]["servers"], station["bus"]["broker"]]
    assert {address.partition("://")[2] for address in asked} == listening


def test_the_page_names_services_that_there_are_and_options_that_setup_takes() -> None:
    page = (FOLDER / "README.md").read_text("utf-8")
    named = re.findall(
        r"docker compose (?:--profile demo )?(?:run|exec|logs)(?: --?\w+)* ([a-z-]+)((?: --[a-z]+)*)", page
    )
    assert {service for service, _ in named} == {"gateway", "broker", "setup", "demo-network"}
    options = {option for service, more in named for option in more.split() if service == "setup"}
    assert options == {"--passcode"}
    assert "`--house`" in page
    assert "docker compose --profile demo up" in page
