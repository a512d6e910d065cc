"""One post without a club is what it was: nothing of the engine's is loaded for it."""

import subprocess
import sys


def test_a_gateway_without_a_club_loads_no_client_of_the_engine() -> None:
    asked = (
        "import sys\n"
        "from pathlib import Path\n"
        "from gateway import settings\n"
        "from gateway.running.service import Service\n"
        "from gateway.settings import policy_files\n"
        "text = 'station: {callsign: QX1GAT-10}\\n"
        'receivers: [{name: vhf, from: "kiss+tcp://127.0.0.1:1"}]\\n\'\n'
        "station = settings.read(text, Path('station.yaml'), {})\n"
        "Service(station, policy_files.load_for(station))\n"
        "print(sorted(name for name in sys.modules if name.split('.')[0] in ('nats', 'nkeys')))\n"
    )
    found = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert found.stdout == "[]\n"
