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

  less $transcript
      what was said in the sample, to compare
  ./target/release/tugback log $sample --explain
      the words and reasons behind each entry; the log is written beside the sample
  ./target/release/tugback log $transcript
      the same treatment from its transcript: no speech model, no doubts about hearing
  ./target/release/tugback log my-recording.m4a
      a recording of your own: WAV, FLAC, MP3, M4A, Ogg and others
  ./target/release/tugback --help
      everything else
END
