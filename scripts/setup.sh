# Sourced by ./wareleaf and ./check: makes .venv from the locked, hashed requirements.
# Usage: setup runtime|dev. Says in one line what it does; does nothing when all is ready.

say() { printf '%s\n' "wareleaf: $*" >&2; }
fail() { printf '%s\n' "wareleaf: $*" >&2; exit 1; }

# The first interpreter that is new enough; everything else comes from the lock.
find_python() {
    for candidate in python3 python3.13 python3.12 python3.11; do
        if command -v "$candidate" >/dev/null 2>&1 &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$candidate"
            return 0
        fi
    done
    return 1
}

# apt_install PACKAGE WHY: installs a Debian package, or says the one line to run.
apt_install() {
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        say "installing $1 through apt ($2)"
        apt-get update -qq >/dev/null 2>&1 || true
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$1" >/dev/null 2>&1 ||
            fail "apt could not install $1; run: apt-get install $1"
    else
        fail "$1 is needed ($2); run: sudo apt-get install -y --no-install-recommends $1"
    fi
}

# apt_need COMMAND PACKAGE WHY: installs a Debian package when a command is missing.
apt_need() {
    command -v "$1" >/dev/null 2>&1 || apt_install "$2" "$3"
}

make_boot() {
    [ -x .boot/bin/uv ] && return 0
    rm -rf .boot
    if ! "$python" -m venv .boot >/dev/null 2>&1; then
        rm -rf .boot
        if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
            say "installing python3-venv through apt (this python3 cannot make a virtual environment)"
            apt-get update -qq >/dev/null 2>&1 || true
            DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends python3-venv ca-certificates >/dev/null 2>&1 || true
            "$python" -m venv .boot >/dev/null 2>&1 || fail "python3 cannot make a virtual environment; run: apt-get install python3-venv"
        else
            fail "python3 cannot make a virtual environment; run: sudo apt-get install -y python3-venv"
        fi
    fi
    .boot/bin/pip install --quiet --require-hashes -r requirements-boot.lock ||
        fail "could not install uv from the locked list; is the package index reachable?"
}

setup() {
    level=$1
    lock=requirements.lock
    [ "$level" = dev ] && lock=requirements-dev.lock
    want=$(cat "$lock" requirements-boot.lock | sha256sum | cut -d' ' -f1)
    if [ -x .venv/bin/python ]; then
        have=$(cat ".venv/.wareleaf-$level" 2>/dev/null || true)
        [ "$have" = "$want" ] && return 0
        # A development environment holds everything the runtime needs.
        if [ "$level" = runtime ]; then
            devwant=$(cat requirements-dev.lock requirements-boot.lock | sha256sum | cut -d' ' -f1)
            [ "$(cat .venv/.wareleaf-dev 2>/dev/null || true)" = "$devwant" ] && return 0
        fi
    fi
    python=$(find_python) || fail "Python 3.11 or newer is needed; run: sudo apt-get install -y python3"
    if command -v flock >/dev/null 2>&1; then
        exec 9>.setup.lock
        flock 9
    fi
    say "setting up the $level environment in .venv (about a minute the first time)"
    make_boot
    export UV_PYTHON_DOWNLOADS=never UV_LINK_MODE=copy
    [ -x .venv/bin/python ] || .boot/bin/uv venv --quiet --python "$python" .venv || fail "could not make .venv"
    .boot/bin/uv pip sync --quiet --python .venv/bin/python --require-hashes --compile-bytecode "$lock" ||
        fail "could not install the locked packages; is the package index reachable?"
    site=$(.venv/bin/python -c 'import sysconfig; print(sysconfig.get_paths()["purelib"])')
    printf '%s\n' "$(pwd)/src" >"$site/wareleaf.pth"
    .venv/bin/python -m compileall -q src || true
    rm -f .venv/.wareleaf-*
    printf '%s\n' "$want" >".venv/.wareleaf-$level"
    say "environment ready"
}
