#!/bin/sh
# Fetches what the browser tests need and this machine lacks: the Debian package chromium, Node.js, and two packages of npm
# into tests/browser/node_modules. Ends with 0 where all is there, and with 1, saying what is missing, where it cannot be had:
# the browser tests are then skipped.
set -eu
cd "$(dirname "$0")/.."

say() { printf '%s\n' "$*" >&2; }
have() { command -v "$1" >/dev/null 2>&1; }
skip() { say "browser tests: $1; they are skipped"; exit 1; }

missing=
have chromium || have chromium-browser || have google-chrome || [ -n "${CHROMIUM:-}" ] || missing="$missing chromium"
have node || missing="$missing nodejs"
have npm || missing="$missing npm"
if [ -n "$missing" ]; then
    have apt-get || skip "these are missing:$missing"
    as_root=
    if [ "$(id -u)" != 0 ]; then
        have sudo && { [ -t 0 ] || sudo -n true 2>/dev/null; } || skip "these are missing:$missing"
        as_root=sudo
    fi
    say "Installing$missing"
    get() { $as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq -o Dpkg::Use-Pty=0 "$@" >/dev/null; }
    get update || true
    # shellcheck disable=SC2086  # a list of names
    get install -y --no-install-recommends $missing || skip "apt-get could not install:$missing"
fi
if [ ! -f tests/browser/node_modules/playwright-core/package.json ] || [ ! -f tests/browser/node_modules/axe-core/axe.min.js ]; then
    say "Fetching playwright-core and axe-core"
    npm --prefix tests/browser install --no-audit --no-fund --no-package-lock --loglevel=error >/dev/null \
        || skip "npm could not fetch playwright-core and axe-core"
fi
