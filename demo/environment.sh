# Sourced by demo/run and tests/run: makes the virtual environment of this tree and sets $python to its interpreter.
# It wants $tree, the folder of this tree, and $extras, what to install beside the gateway itself, as broker,test.
# The environment is .venv in the tree, or what STILE_VENV says.

venv=${STILE_VENV:-$tree/.venv}
python=$venv/bin/python
# What is installed depends on these two; a change in either installs again.
wanted="$extras $(cksum < "$tree/pyproject.toml")"
made=$venv/.made-for-${extras%%,*}

if [ ! -x "$python" ] || [ "$(cat "$made" 2>/dev/null)" != "$wanted" ]; then
    for candidate in python3 python3.13 python3.12 python3.11; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            base=$candidate
            break
        fi
    done
    if [ -z "${base:-}" ]; then
        echo "Stile needs Python 3.11 or newer, and none was found. Install it: apt-get install python3" >&2
        exit 1
    fi
    echo "Making the virtual environment (once) ..." >&2
    if command -v uv >/dev/null 2>&1; then
        [ -x "$python" ] || uv venv --quiet --python "$base" "$venv" || exit 1
        uv pip install --quiet --python "$python" --editable "$tree[$extras]" || exit 1
    else
        if ! "$base" -c 'import venv, ensurepip' 2>/dev/null; then
            echo "Python's venv module is missing. Install it: apt-get install python3-venv" >&2
            exit 1
        fi
        [ -x "$python" ] || "$base" -m venv "$venv" || exit 1
        "$python" -m pip install --quiet --disable-pip-version-check --editable "$tree[$extras]" || exit 1
    fi
    echo "$wanted" > "$made"
fi
