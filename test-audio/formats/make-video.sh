#!/usr/bin/env bash
# Makes the sound tracks of videos and the other containers of this folder from note.flac. Needs ffmpeg 5.1 or later; run it in this folder.
set -euo pipefail
cd "$(dirname "$0")"

make() { ffmpeg -loglevel error -y -fflags +bitexact "$@"; }
# A black picture of 16 x 16 as the video beside the sound.
picture=(-f lavfi -i color=c=black:s=16x16:r=5:d=1.6)

make "${picture[@]}" -i note.flac -map 0 -map 1 -c:v libvpx -b:v 1k -c:a libopus -b:a 32k note-opus.webm
make "${picture[@]}" -i note.flac -map 0 -map 1 -c:v libvpx -b:v 1k -c:a libvorbis -q:a 1 note-vorbis.webm
make "${picture[@]}" -i note.flac -map 0 -map 1 -c:v mpeg4 -b:v 1k -c:a libopus -b:a 32k -strict -2 note-opus.mp4
make -i note.flac -c:a aac -b:a 48k note-aac.mkv
make -i note.flac -c:a libmp3lame -b:a 40k note-mp3.mkv
make -i note.flac -ar 8000 -c:a pcm_s16be note-pcm.caf
