# Shared by deploy/demo and deploy/test. Sourced, not run.
# shellcheck shell=bash
ROOT="$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)"
VENV="${SIDELANE_VENV:-$ROOT/.venv}"
# What WeasyPrint loads when a receipt is made as PDF: libraries, so no command tells of them.
# shellcheck disable=SC2034
PDF_NEEDS=(
    "/usr/lib/*/libpango-1.0.so.0=libpango-1.0-0"
    "/usr/lib/*/libpangoft2-1.0.so.0=libpangoft2-1.0-0"
    "/usr/lib/*/libharfbuzz-subset.so.0=libharfbuzz-subset0"
)

say() { printf '\n== %s\n' "$*" >&2; }

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; elif command -v sudo >/dev/null && sudo -n true 2>/dev/null; then sudo -n "$@"; else return 99; fi
}

# need COMMAND=PACKAGE ... : installs the packages whose command or file is missing.
need() {
    local missing=() pair what
    for pair in "$@"; do
        what="${pair%%=*}"
        case "$what" in
            /*) compgen -G "$what" >/dev/null || missing+=("${pair#*=}") ;;
            *) command -v "$what" >/dev/null || missing+=("${pair#*=}") ;;
        esac
    done
    [ ${#missing[@]} -eq 0 ] && return 0
    local how="apt-get update && apt-get install -y --no-install-recommends ${missing[*]}"
    say "Installing from the system's packages: ${missing[*]}"
    if ! command -v apt-get >/dev/null; then
        echo "This system has no apt-get. Install these yourself, then run this again: ${missing[*]}" >&2
        exit 1
    fi
    if ! as_root true; then
        echo "That needs root. Run this, then run me again:" >&2
        echo "    sudo sh -c '$how'" >&2
        exit 1
    fi
    if ! { as_root apt-get update -q && DEBIAN_FRONTEND=noninteractive as_root apt-get install -y -q --no-install-recommends "${missing[@]}"; } >"${TMPDIR:-/tmp}/sidelane-packages.log" 2>&1; then
        tail -n 20 "${TMPDIR:-/tmp}/sidelane-packages.log" >&2
        echo "Installing failed. What was tried: $how" >&2
        exit 1
    fi
}

find_python() {
    local name
    for name in python3.11 python3.12 python3.13 python3; do
        if command -v "$name" >/dev/null && "$name" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null; then
            command -v "$name"
            return 0
        fi
    done
    echo "Python 3.11, 3.12 or 3.13 is needed and was not found. On Debian 12: apt-get install python3 python3-venv" >&2
    exit 1
}

# make_venv LOCK : a virtual environment with exactly what LOCK names, made again when LOCK changes.
make_venv() {
    local lock="$1" python stamp
    python="$(find_python)" || exit 1
    if ! "$python" -c 'import ensurepip' 2>/dev/null; then
        need "/no/such/file=python3-venv"
    fi
    stamp="$("$python" -c 'import hashlib, sys; print(hashlib.sha256(open(sys.argv[1], "rb").read()).hexdigest())' "$lock")"
    if [ "$(cat "$VENV/.made-from-$(basename "$lock")" 2>/dev/null)" != "$stamp" ]; then
        say "Making the virtual environment from $(basename "$lock")"
        [ -x "$VENV/bin/python" ] || "$python" -m venv "$VENV"
        "$VENV/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes -r "$lock"
        printf '%s' "$stamp" >"$VENV/.made-from-$(basename "$lock")"
    fi
    export PATH="$VENV/bin:$PATH"
}

translate() { (cd "$ROOT" && python manage.py compilemessages --ignore .venv -v 0); }
