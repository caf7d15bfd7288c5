#!/bin/sh
# Listen to a stream: a simulated recording, played as raw sound into `tapfall listen`,
# its cuff log through a named pipe beside it. Single sounds are left out.
# Run it as `sh examples/listen.sh`, with `tapfall` and its `python` on the PATH.
set -e
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cd "$folder"
tapfall simulate normal -o made >&2
mkfifo cuff
cat made/normal-1.csv > cuff &
python -c '
import sys
import tapfall
sound = tapfall.load("made/normal-1.wav", "made/normal-1.csv")
sys.stdout.buffer.write(sound.samples.astype("<f4").tobytes())
' | tapfall listen --rate 4000 --format f32le --cuff cuff | grep -v '"sound_heard"'
