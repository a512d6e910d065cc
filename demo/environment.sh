# Sourced by demo/run, tests/run and .ci/run: makes the virtual environment of this tree and sets $python to its
# interpreter. It wants $tree, the folder of this tree, and $extras, what to install beside the gateway, as broker,test.
# The environment is .venv in the tree, or what STILE_VENV says. A new one is made with the first Python that is new
# enough, or with what STILE_PYTHON names.

venv=${STILE_VENV:-$tree/.venv}
python=$venv/bin/python
# What is installed there: on the first line the sum of the pyproject.toml that asked for it, below it the extras.
installed=$venv/.installed
asked_by=$(cksum < "$tree/pyproject.toml")

all_is_installed() {
    [ -x "$python" ] && [ "$(head -n 1 "$installed" 2>/dev/null)" = "$asked_by" ] || return 1
    for extra in $(echo "$extras" | tr , ' '); do
        grep -qx "$extra" "$installed" || return 1
    done
}

show_progress() { # of what pip prints: on a terminal, how many packages it has come to
    found=0
    while read -r word next _; do
        if [ "$word" = Collecting ]; then
            found=$((found + 1))
            [ ! -t 2 ] || printf '\r%s packages found ' "$found" >&2
        fi
        if [ "$word $next" = "Installing collected" ] && [ -t 2 ]; then
            printf '\r%s packages found, now they are installed\n' "$found" >&2
        fi
    done
}

if ! all_is_installed; then
    for candidate in ${STILE_PYTHON:-python3 python3.14 python3.13 python3.12 python3.11}; do
        if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            base=$candidate
            break
        fi
    done
    if [ -z "${base:-}" ]; then
        echo "Stile needs Python 3.11 or newer, and none was found. Install it: apt-get install python3" >&2
        exit 1
    fi
    echo "Installing what is needed into $venv (once) ..." >&2
    if command -v uv >/dev/null 2>&1; then
        [ -x "$python" ] || uv venv --quiet --python "$base" "$venv" || exit 1
        uv pip install --quiet --python "$python" --editable "$tree[$extras]" || exit 1
    else
        if ! "$base" -c 'import venv, ensurepip' 2>/dev/null; then
            echo "Python's venv module is missing. Install it: apt-get install python3-venv" >&2
            exit 1
        fi
        [ -x "$python" ] || "$base" -m venv "$venv" || exit 1
        # Its warnings are of no use here; its errors are shown where it failed.
        said=$venv/.said
        failed=$venv/.failed
        rm -f "$failed"
        {
            "$python" -m pip install --disable-pip-version-check --editable "$tree[$extras]" 2>"$said" || touch "$failed"
        } | show_progress
        if [ -e "$failed" ]; then
            cat "$said" >&2
            exit 1
        fi
    fi
    [ "$(head -n 1 "$installed" 2>/dev/null)" = "$asked_by" ] || echo "$asked_by" > "$installed"
    echo "$extras" | tr , '\n' >> "$installed"
fi
