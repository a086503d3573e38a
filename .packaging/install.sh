#!/bin/sh
# Puts this folder's program into the user's menu, with its icon and its kind of file; run again after the folder moved.
# With --remove it takes them out. Nothing needs root.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
data=${XDG_DATA_HOME:-"$HOME/.local/share"}
entry=$data/applications/valvelab.desktop
kind=$data/mime/packages/valvelab.xml
icon=$data/icons/hicolor/scalable/apps/valvelab.svg
if [ "${1:-}" = --remove ]; then
  rm -f "$entry" "$kind" "$icon"
else
  mkdir -p "$(dirname "$entry")" "$(dirname "$kind")" "$(dirname "$icon")"
  # a path in Exec is quoted: two backslashes before each of \ " ` $, as the file's own strings take one away, and %%
  path=$(printf '%s' "$here/valvelab" | sed 's/\\/\\\\\\\\/g; s/["`$]/\\\\&/g; s/%/%%/g') \
    awk '/^Exec=/ { printf "Exec=\"%s\" %%F\n", ENVIRON["path"]; next } { print }' "$here/desktop/valvelab.desktop" >"$entry"
  cp "$here/desktop/valvelab.xml" "$kind"
  cp "$here/desktop/valvelab.svg" "$icon"
fi
command -v update-mime-database >/dev/null && update-mime-database "$data/mime" || true
command -v update-desktop-database >/dev/null && update-desktop-database "$data/applications" || true
