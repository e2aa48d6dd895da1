#!/bin/sh
# Renews the lock files: hashes and versions, no addresses. Run by a maintainer, never by a user.
set -eu
cd "$(dirname "$0")/.."
uv=.boot/bin/uv
opts="--universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-emit-find-links --no-annotate --no-header -q"
"$uv" pip compile pyproject.toml $opts -o requirements.lock
"$uv" pip compile pyproject.toml --group dev -c requirements.lock $opts -o requirements-dev.lock
echo uv | "$uv" pip compile - $opts -o requirements-boot.lock
if grep -nE 'https?://|--(extra-)?index-url' requirements*.lock; then
    echo "lock: an address stands in a lock file; none may be committed" >&2
    exit 1
fi
