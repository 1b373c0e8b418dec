#!/bin/sh
# What `make demo` says at its end: which files were written, and what to try next.
#
#   scripts/next-steps.sh SAMPLE LOG
set -eu

sample=$1
log=$2
transcript=${sample%.*}.vtt

cat <<END

Written: $log ($(wc -c <"$log" | tr -d ' ') bytes): the procedure log, for review and for other programs.
Nothing else was written, and nothing left this computer.

Try next:
  less $transcript            what was said in the sample, for comparison
  ./target/release/tugback log $transcript
                                                the same from the transcript, without the speech model
  ./target/release/tugback log YOUR-RECORDING.m4a -o my-log.json
                                                a recording of your own: WAV, FLAC, MP3, M4A or Ogg
  ./target/release/tugback --help               everything else
END
