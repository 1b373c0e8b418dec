#!/bin/sh
# Makes sure that what the build needs is on this machine, and installs from the Debian packages what is missing.
#
#   scripts/setup.sh            what `make demo` needs
#   scripts/setup.sh --test     and rustfmt and clippy, which `make test` needs, and, where they can be had, a sound server, a
#                               FHIR validator and a library that spells numbers
#
# Says nothing where nothing is missing. Where it may not install (not root, no sudo, no apt-get), it prints the names of
# the packages and ends with 2.
set -eu

RUST_MIN=1.90

say() { printf '%s\n' "$*" >&2; }
have() { command -v "$1" >/dev/null 2>&1; }

# ---- Rust: only looked for, because a toolchain is the user's own choice
if ! have cargo && [ -x "$HOME/.cargo/bin/cargo" ]; then
    say "cargo is in ~/.cargo/bin, which is not in PATH; run:  . ~/.cargo/env"
    exit 2
fi
if ! have cargo || ! have rustc; then
    say "tugback is built with Rust, $RUST_MIN or newer, and no cargo was found."
    say "Install the Rust toolchain first (https://www.rust-lang.org/tools/install), then try again."
    exit 2
fi
version=$(rustc --version | cut -d' ' -f2)
oldest=$(printf '%s\n%s\n' "$RUST_MIN" "$version" | sort -V | head -n 1)
if [ "$oldest" != "$RUST_MIN" ]; then
    say "rustc is $version; tugback needs $RUST_MIN or newer. Try:  rustup update stable"
    exit 2
fi

# ---- what the build needs besides Rust
missing=
need() { missing="$missing $1"; }
have cc || need gcc
{ have c++ || have g++; } || need g++
have cmake || need cmake
have make || need make
if [ "$(uname -s)" = Linux ]; then
    have pkg-config || need pkg-config
    { have pkg-config && pkg-config --exists alsa; } || need libasound2-dev
    [ -e /etc/ssl/certs/ca-certificates.crt ] || [ -e /etc/ssl/cert.pem ] || [ -d /etc/pki/tls/certs ] \
        || need ca-certificates
fi

tell() {
    say "To build tugback, these packages (Debian's names) are still needed:"
    say "   $missing"
    say "$1"
    exit 2
}

if [ -n "$missing" ]; then
    have apt-get || tell "There is no apt-get here; install them with this system's own package manager, then try again."
    as_root=
    if [ "$(id -u)" != 0 ]; then
        have sudo || tell "Ask the person who looks after this machine to run:  apt-get install$missing"
        as_root=sudo
        # Without a terminal nobody can type a password.
        [ -t 0 ] || sudo -n true 2>/dev/null || tell "Run:  sudo apt-get install$missing"
    fi
    say "Installing$missing"
    get() { $as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq -o Dpkg::Use-Pty=0 "$@" >/dev/null; }
    # The lists may be old or absent: fetch them first, and go on with the old ones where that fails.
    get update || say "(the package lists could not be fetched; trying with those that are here)"
    # shellcheck disable=SC2086  # a list of names
    get install -y --no-install-recommends $missing || tell "apt-get could not install them (see above)."
fi

# ---- what the tests need besides
if [ "${1:-}" = --test ]; then
    for part in fmt clippy; do
        cargo "$part" --version >/dev/null 2>&1 && continue
        name=$part
        [ "$part" = fmt ] && name=rustfmt
        say "Adding $name to the Rust toolchain"
        { have rustup && rustup component add "$name"; } || {
            say "cargo $part is not installed: add the package or toolchain component $name, then try again."
            exit 2
        }
    done

    # A sound server, so that sound is played and recorded; without it that test is skipped with a message.
    if [ "$(uname -s)" = Linux ] && ! have pulseaudio && have apt-get && [ "$(id -u)" = 0 ]; then
        say "Installing PulseAudio for the test of the recorder"
        quietly() { DEBIAN_FRONTEND=noninteractive apt-get -qq -o Dpkg::Use-Pty=0 "$@" >/dev/null 2>&1; }
        quietly update || true
        quietly install -y --no-install-recommends pulseaudio pulseaudio-utils libasound2-plugins ||
            say "(it could not be installed; the test that needs it is skipped)"
    fi

    # Judges the FHIR Bundles; without it those tests are skipped with a message.
    validator=target/fhir-validator
    if ! { [ -x $validator/bin/python ] && $validator/bin/python -c 'import fhir.resources.bundle' 2>/dev/null; }; then
        say "Installing the FHIR validator of the tests into $validator"
        rm -rf $validator
        { have python3 && python3 -m venv $validator >/dev/null 2>&1 &&
            $validator/bin/python -m pip -q --disable-pip-version-check install 'fhir.resources==6.2.0' 'pydantic<2' >/dev/null 2>&1 &&
            $validator/bin/python -c 'import fhir.resources.bundle' 2>/dev/null; } || {
            rm -rf $validator
            say "(it could not be installed; the tests that need it are skipped)"
        }
    fi

    # Spells the numbers that the number grammar must read; without it that test is skipped with a message.
    numbers=target/number-words
    if ! { [ -x $numbers/bin/python ] && $numbers/bin/python -c 'import num2words' 2>/dev/null; }; then
        say "Installing num2words, which spells numbers for the tests, into $numbers"
        rm -rf $numbers
        { have python3 && python3 -m venv $numbers >/dev/null 2>&1 &&
            $numbers/bin/python -m pip -q --disable-pip-version-check install 'num2words==0.5.14' >/dev/null 2>&1 &&
            $numbers/bin/python -c 'import num2words' 2>/dev/null; } || {
            rm -rf $numbers
            say "(it could not be installed; the test that needs it is skipped)"
        }
    fi
fi
